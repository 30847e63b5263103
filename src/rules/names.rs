//! Names: of people, cars, events, run groups. One spelling of each, nothing hidden in it, and two people of one event told apart
//! by whoever reads them on a phone.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;
use unicode_properties::{GeneralCategory, UnicodeGeneralCategory};
use unicode_security::skeleton;

/// Letters and marks that nothing is seen of, beside the category of format characters (UCD, `Default_Ignorable_Code_Point`), and
/// the blank of braille.
const UNSEEN: [char; 6] = ['\u{034F}', '\u{115F}', '\u{1160}', '\u{17B4}', '\u{17B5}', '\u{2800}'];

/// Why a text is no name, to be said after "The name".
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAName {
    /// Empty, or longer than it may be; the longest length in characters.
    #[error("has 1 to {0} characters")]
    Length(usize),
    #[error("has a hidden character, U+{:04X}: type it anew instead of pasting it", u32::from(*.0))]
    Hidden(char),
}

/// A name as it is kept: in one spelling (UAX #15, NFKC), with single spaces and none around it.
///
/// # Errors
/// [`NotAName::Length`] for one that is empty or longer than `longest` characters; [`NotAName::Hidden`] for one with a character
/// that is not seen or changes the direction of what stands beside it.
///
/// # Example: one spelling, and nothing hidden
/// ```
/// use witnessmark::rules::names::{NotAName, name};
/// assert_eq!(name("  R.\u{A0} Ｈolt ", 60).unwrap(), "R. Holt");
/// assert_eq!(name("R. Ho\u{200B}lt", 60), Err(NotAName::Hidden('\u{200B}')));
/// assert_eq!(name(" ", 60), Err(NotAName::Length(60)));
/// ```
pub fn name(text: &str, longest: usize) -> Result<String, NotAName> {
    let one_spelling: String = text.trim().nfkc().collect();
    if let Some(hidden) = one_spelling.chars().find(|c| is_hidden(*c)) {
        return Err(NotAName::Hidden(hidden));
    }
    let name = one_spelling.split_whitespace().collect::<Vec<_>>().join(" ");
    if (1..=longest).contains(&name.chars().count()) { Ok(name) } else { Err(NotAName::Length(longest)) }
}

fn is_hidden(c: char) -> bool {
    use GeneralCategory as Is;
    let category = c.general_category();
    let variant = matches!(c, '\u{FE00}'..='\u{FE0F}' | '\u{E0100}'..='\u{E01EF}' | '\u{180B}'..='\u{180F}');
    let unseen = matches!(
        category,
        Is::Control | Is::Format | Is::Surrogate | Is::PrivateUse | Is::Unassigned | Is::LineSeparator | Is::ParagraphSeparator
    );
    unseen || variant || UNSEEN.contains(&c)
}

/// What is seen of a name: letters, figures and marks, small. Two people of the same are one person, or cannot be told apart.
fn seen(name: &str) -> String {
    let kept = |c: &char| c.is_alphanumeric() || is_combining_mark(*c);
    let seen: String = name.nfkc().filter(kept).flat_map(char::to_lowercase).collect();
    if seen.is_empty() { name.to_owned() } else { seen }
}

/// Whether two names are the same but for capitals, spaces and punctuation.
pub fn is_same(one: &str, other: &str) -> bool {
    seen(one) == seen(other)
}

/// What a name looks like (UTS #39, "skeleton"), as written and in small letters.
fn looks(name: &str) -> [String; 2] {
    let bare = |name: &str| seen(&skeleton(name).collect::<String>());
    [bare(name), bare(&name.to_lowercase())]
}

/// Whether two different names look alike: `R. Holt` and `R. Ho1t`.
///
/// # Example: a figure and a Cyrillic letter for a Latin one
/// ```
/// use witnessmark::rules::names::is_look_alike;
/// assert!(is_look_alike("R. Holt", "R. Ho1t"));
/// assert!(is_look_alike("R. Holt", "R. H\u{43E}lt"));
/// assert!(!is_look_alike("R. Holt", "r. holt"), "the same name");
/// assert!(!is_look_alike("R. Holt", "R. Hold"));
/// ```
pub fn is_look_alike(one: &str, other: &str) -> bool {
    let (one_looks, other_looks) = (looks(one), looks(other));
    !is_same(one, other) && (0..2).any(|how| one_looks[how] == other_looks[how])
}

/// Names that were met, to find one that a new one looks like without comparing it with each.
#[derive(Default)]
pub struct Met(std::collections::HashMap<String, Vec<String>>);

impl Met {
    /// Adds a name. Gives one that was met before and looks like it without being the same.
    pub fn meet(&mut self, name: &str) -> Option<String> {
        let looks = looks(name);
        let alike = looks.iter().filter_map(|look| self.0.get(look)).flatten().find(|met| !is_same(met, name)).cloned();
        for look in looks {
            let met = self.0.entry(look).or_default();
            // A thousand entries of one driver are one name.
            if !met.iter().any(|met| met == name) {
                met.push(name.to_owned());
            }
        }
        alike
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_changes_direction_or_is_not_seen_is_in_no_name() {
        // UAX #9, table of explicit formatting characters; UCD, category Cf; UCD, Default_Ignorable_Code_Point.
        let directions =
            ['\u{202A}', '\u{202B}', '\u{202C}', '\u{202D}', '\u{202E}', '\u{2066}', '\u{2067}', '\u{2068}', '\u{2069}'];
        let unseen = ['\u{AD}', '\u{200B}', '\u{200C}', '\u{200D}', '\u{200E}', '\u{200F}', '\u{2060}', '\u{FEFF}', '\u{61C}'];
        let others = ['\u{0}', '\u{85}', '\u{2028}', '\u{2029}', '\u{3164}', '\u{FFA0}', '\u{FE0F}', '\u{E0001}', '\u{E000}'];
        for hidden in directions.into_iter().chain(unseen).chain(others) {
            assert!(matches!(name(&format!("Ho{hidden}lt"), 60), Err(NotAName::Hidden(_))), "U+{:04X}", u32::from(hidden));
        }
    }

    #[test]
    fn names_of_the_world_are_names() {
        for (typed, kept) in [
            ("Zoë O'Neill-Møller", "Zoë O'Neill-Møller"),
            ("Zoe\u{308}", "Zoë"),
            ("李 小龍", "李 小龍"),
            ("נועה כהן", "נועה כהן"),
            ("Ｔ．Ｒｅｙｅｓ", "T.Reyes"),
            ("R.\tHolt", ""),
            ("R.  Holt,  lane 2", "R. Holt, lane 2"),
        ] {
            assert_eq!(name(typed, 60).unwrap_or_default(), kept, "{typed:?}");
        }
        assert_eq!(name(&"x".repeat(61), 60), Err(NotAName::Length(60)));
        assert_eq!(name(&"ﷺ".repeat(4), 60), Err(NotAName::Length(60)), "one character becomes eighteen (UAX #15)");
    }

    #[test]
    fn who_looks_like_somebody_else_is_found_and_who_has_the_same_name_is_not() {
        // Pairs of the confusables table of UTS #39.
        for other in ["R. Ho1t", "R. HoIt", "R. H0lt", "R. H\u{43E}lt", "\u{1D411}. H\u{3BF}lt"] {
            let kept = name(other, 60).unwrap_or_default();
            assert!(is_look_alike("R. Holt", &kept) || is_same("R. Holt", &kept), "{other}");
        }
        for other in ["R. Holt", "r.holt", "R Holt", "R. HOLT"] {
            assert!(is_same("R. Holt", other) && !is_look_alike("R. Holt", other), "{other}");
        }
        for other in ["R. Hult", "J. Holt", "R. Holt, lane 2", "José"] {
            assert!(!is_look_alike("R. Holt", other), "{other}");
        }
        assert!(!is_look_alike("José", "Jose"), "an accent is seen");
        let mut met = Met::default();
        assert_eq!(met.meet("R. Holt"), None);
        assert_eq!(met.meet("R. Holt"), None);
        assert_eq!(met.meet("R. Ho1t"), Some("R. Holt".into()));
    }
}
