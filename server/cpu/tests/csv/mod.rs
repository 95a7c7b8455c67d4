//! Comma-separated values.

/// The fields of a line of comma-separated values.
pub(crate) fn fields(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut is_quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => is_quoted = !is_quoted,
            ',' if !is_quoted => fields.push(String::new()),
            letter => fields.last_mut().expect("a field").push(letter),
        }
    }
    fields
}
