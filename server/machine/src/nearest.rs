//! The name that was meant.

/// How many letters have to be put in, left out, changed or exchanged with the next one to make one name of the other, without
/// regard to case.
#[must_use]
pub fn distance(one: &str, other: &str) -> usize {
    let letters = |it: &str| it.chars().flat_map(char::to_lowercase).collect::<Vec<_>>();
    let (one, other) = (letters(one), letters(other));
    // Three rows of the table: an exchange looks two back.
    let mut before = vec![0; other.len() + 1];
    let mut last: Vec<usize> = (0..=other.len()).collect();
    for (i, a) in one.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, b) in other.iter().enumerate() {
            let mut best = (last[j] + usize::from(a != b)).min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *a == other[j - 1] && one[i - 1] == *b {
                best = best.min(before[j - 1] + 1);
            }
            row.push(best);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[other.len()]
}

/// The name nearest to a misspelt one, if it is near: one letter in three may be wrong, and one in any case.
#[must_use]
pub fn nearest<'a>(name: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let letters = name.chars().count();
    let most = (letters / 3).max(1);
    // No name of ours is near to one that is much longer.
    let is_likely = |it: &&str| it.chars().count().abs_diff(letters) <= most;
    let near = names.into_iter().filter(is_likely).map(|it| (distance(it, name), it));
    near.filter(|it| it.0 <= most && it.0 < letters).min_by_key(|it| it.0).map(|it| it.1)
}

#[cfg(test)]
mod tests {
    use super::{distance, nearest};

    #[test]
    fn a_misspelt_name_is_near_to_the_one_that_was_meant() {
        for (one, other, expected) in [
            ("", "abc", 3),
            ("rate", "rate", 0),
            ("RATE", "rate", 0),
            ("raet", "rate", 1),
            ("cylinder", "cylinders", 1),
        ] {
            assert_eq!((distance(one, other), distance(other, one)), (expected, expected), "{one} {other}");
        }
        let names = ["cylinders", "heads", "rpm", "rate", "step"];
        assert_eq!(nearest("cylnders", names), Some("cylinders"));
        assert_eq!(nearest("rmp", names), Some("rpm"));
        assert_eq!(nearest("tracks", names), None);
        assert_eq!(nearest("x", names), None);
        assert_eq!(nearest(&"r".repeat(100_000), names), None);
    }
}
