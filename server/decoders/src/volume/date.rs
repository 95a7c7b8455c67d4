//! Dates of a directory: two words, from 1980 to 2107. *FAT: General Overview of On-Disk Format* 1.03, Date and Time Formats.

use std::fmt;
use std::str::FromStr;

/// A date and a time, in steps of two seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Moment {
    /// Year since 1980, month, day: 7, 4 and 5 bits.
    pub date: u16,
    /// Hour, minute, seconds / 2: 5, 6 and 5 bits.
    pub time: u16,
}

impl Moment {
    /// A moment from year, month, day, hour, minute and second.
    ///
    /// # Errors
    /// A part that no calendar has, or a year before 1980 or after 2107.
    pub fn new([year, month, day]: [u32; 3], [hour, minute, second]: [u32; 3]) -> Result<Self, String> {
        if !(1980..=2107).contains(&year) {
            return Err(format!("year {year}: a directory holds 1980 to 2107"));
        }
        if !(1..=12).contains(&month) || day == 0 || day > days(year, month) {
            return Err(format!("{year:04}-{month:02}-{day:02} is no day of the calendar"));
        }
        if hour > 23 || minute > 59 || second > 59 {
            return Err(format!("{hour:02}:{minute:02}:{second:02} is no time of a day"));
        }
        let date = (year - 1980) << 9 | month << 5 | day;
        let time = hour << 11 | minute << 5 | (second / 2);
        Ok(Self { date: date as u16, time: time as u16 })
    }

    /// The moment of a clock that counts seconds since 1970, without leap seconds; the nearest one that a directory holds.
    #[must_use]
    pub fn from_unix(seconds: u64) -> Self {
        let (mut left, rest) = (seconds / 86_400, (seconds % 86_400) as u32);
        let mut year = 1970;
        while year <= 2107 && left >= days_of_year(year) {
            left -= days_of_year(year);
            year += 1;
        }
        let mut month = 1;
        while month < 12 && left >= u64::from(days(year, month)) {
            left -= u64::from(days(year, month));
            month += 1;
        }
        let time = [rest / 3600, rest / 60 % 60, rest % 60];
        let (first, last) = (([1980, 1, 1], [0; 3]), ([2107, 12, 31], [23, 59, 58]));
        let (date, time) = match year {
            ..1980 => first,
            2108.. => last,
            _ => ([year, month, left as u32 + 1], time),
        };
        Self::new(date, time).unwrap_or_default()
    }

    /// Year, month, day; hour, minute, second, whether or not there is such a moment.
    #[must_use]
    pub fn parts(self) -> ([u32; 3], [u32; 3]) {
        let (date, time) = (u32::from(self.date), u32::from(self.time));
        ([1980 + (date >> 9), date >> 5 & 15, date & 31], [time >> 11, time >> 5 & 63, (time & 31) * 2])
    }

    /// Whether nothing was entered.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.date == 0
    }

    /// Whether the calendar has it.
    #[must_use]
    pub fn is_possible(self) -> bool {
        let (date, time) = self.parts();
        Self::new(date, time).is_ok()
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ([year, month, day], [hour, minute, second]) = self.parts();
        write!(f, "{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}")
    }
}

impl FromStr for Moment {
    type Err = String;

    /// Reads `1986-03-03`, `1986-03-03T12:30` or `1986-03-03T12:30:10`; a blank may stand for the T.
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no date; expected such as 1986-03-03 or 1986-03-03T12:30:00");
        let numbers = |part: &str, sign: char| -> Result<Vec<u32>, String> {
            let is_digits = |it: &str| !it.is_empty() && it.bytes().all(|it| it.is_ascii_digit());
            part.split(sign).map(|it| it.parse().ok().filter(|_| is_digits(it)).ok_or_else(wrong)).collect()
        };
        let (date, time) = text.split_once(['T', ' ']).unwrap_or((text, "0:0"));
        let date: [u32; 3] = numbers(date, '-')?.try_into().map_err(|_| wrong())?;
        let mut time = numbers(time, ':')?;
        if time.len() == 2 {
            time.push(0);
        }
        Self::new(date, time.try_into().map_err(|_| wrong())?)
    }
}

fn is_leap(year: u32) -> bool {
    year.is_multiple_of(4) && !year.is_multiple_of(100) || year.is_multiple_of(400)
}

fn days(year: u32, month: u32) -> u32 {
    match month {
        2 if is_leap(year) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

fn days_of_year(year: u32) -> u64 {
    if is_leap(year) { 366 } else { 365 }
}

#[cfg(test)]
mod tests {
    use super::Moment;

    #[test]
    fn a_text_is_the_moment_it_shows() {
        for text in ["1980-01-01 00:00:00", "1986-03-03 12:30:10", "2000-02-29 23:59:58", "2107-12-31 00:00:00"] {
            let moment: Moment = text.parse().unwrap();
            assert_eq!(moment.to_string(), text);
            assert!(moment.is_possible());
        }
        assert_eq!("1986-03-03".parse(), "1986-03-03T00:00".parse::<Moment>());
        for bad in [
            "",
            "1979-12-31",
            "2108-01-01",
            "1986-02-29",
            "1986-13-01",
            "86-3-3",
            "1986-3",
            "1986-03-03T24:00",
            "+1986-1-1",
            "1986-01-01T1",
        ] {
            assert!(bad.parse::<Moment>().is_err(), "{bad}");
        }
        assert!(!Moment { date: 0x2a5f, time: 0xffff }.is_possible());
    }

    /// Seconds of 1970-based clocks by GNU date 9.1.
    #[test]
    fn a_clock_is_read_and_held_to_what_a_directory_holds() {
        assert_eq!(Moment::from_unix(510_237_010).to_string(), "1986-03-03 12:30:10");
        assert_eq!(Moment::from_unix(951_868_798).to_string(), "2000-02-29 23:59:58");
        assert_eq!(Moment::from_unix(0).to_string(), "1980-01-01 00:00:00");
        assert_eq!(Moment::from_unix(u64::MAX).to_string(), "2107-12-31 23:59:58");
    }
}
