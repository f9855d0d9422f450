//! The code of a plan, as it is written down and typed.

/// Digits of Crockford's Base32: no I, L, O and U (Crockford, Base 32, crockford.com/base32.html).
const DIGITS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// Characters of a code: 60 bits.
const LENGTH: usize = 12;

/// Characters that stand together when it is shown.
const GROUP: usize = 4;

/// The code of a plan: whoever has it can open the plan and send under it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Code(String);

impl Code {
    /// The code of 60 bits; higher ones are dropped.
    #[must_use]
    pub fn from_bits(bits: u64) -> Self {
        let digit = |place: usize| {
            let shifted = bits >> (5 * (LENGTH - 1 - place));
            let idx = usize::try_from(shifted & 31).unwrap_or(0);
            DIGITS.get(idx).copied().map_or('0', char::from)
        };
        Self((0..LENGTH).map(digit).collect())
    }

    /// Reads a code as typed: small letters, hyphens and spaces, O for 0, I and L for 1, as
    /// Crockford's specification has it. `None` when it is no code.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let typed = text
            .chars()
            .filter(|character| *character != '-' && !character.is_whitespace());
        let code: String = typed.map(digit_of).collect::<Option<_>>()?;
        (code.len() == LENGTH).then_some(Self(code))
    }

    /// As it is kept and sent: twelve characters.
    #[must_use]
    pub fn canonical(&self) -> &str {
        &self.0
    }

    /// As it is shown: in groups of four.
    #[must_use]
    pub fn grouped(&self) -> String {
        let mut shown = String::with_capacity(LENGTH + LENGTH / GROUP);
        for (place, character) in self.0.chars().enumerate() {
            if place != 0 && place % GROUP == 0 {
                shown.push('-');
            }
            shown.push(character);
        }
        shown
    }
}

/// The digit that a typed character stands for.
fn digit_of(typed: char) -> Option<char> {
    let digit = match typed.to_ascii_uppercase() {
        'O' => '0',
        'I' | 'L' => '1',
        other => other,
    };
    DIGITS
        .iter()
        .any(|known| char::from(*known) == digit)
        .then_some(digit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixty_bits_are_twelve_digits_and_the_highest_comes_first() {
        assert_eq!(Code::from_bits(0).canonical(), "000000000000");
        assert_eq!(Code::from_bits(31).canonical(), "00000000000Z");
        assert_eq!(Code::from_bits(32).canonical(), "000000000010");
        assert_eq!(Code::from_bits(u64::MAX).canonical(), "ZZZZZZZZZZZZ");
        let ascending = (0..12).fold(0, |bits, digit| bits << 5 | digit);
        assert_eq!(Code::from_bits(ascending).canonical(), "0123456789AB");
    }

    #[test]
    fn a_code_reads_back_however_it_is_typed() {
        let code = Code::from_bits(0x0123_4567_89AB_CDEF);
        for typed in [
            code.canonical().to_owned(),
            code.grouped(),
            code.grouped().to_lowercase(),
            format!("  {} ", code.grouped().replace('-', " ")),
        ] {
            assert_eq!(Code::parse(&typed), Some(code.clone()), "{typed}");
        }
        assert_eq!(
            Code::parse("oO0iIlL1-abcd").map(|code| code.grouped()),
            Some("0001-1111-ABCD".to_owned())
        );
    }

    #[test]
    fn what_is_no_code_is_refused() {
        for typed in [
            "",
            "0000-0000-000",
            "0000-0000-0000-0",
            "0000-0000-000U",
            "0000-0000-000É",
            "0000_0000_0000",
            "000000000000000000000000",
        ] {
            assert_eq!(Code::parse(typed), None, "{typed}");
        }
    }

    #[test]
    fn a_code_is_shown_in_three_groups_of_four() {
        assert_eq!(Code::from_bits(1).grouped(), "0000-0000-0001");
    }
}
