//! Sheet files: what comes in today says what its answers mean and lets no limit hang on an answer that may be missing; what was
//! added before stays readable.

use proptest::prelude::*;
use witnessmark::acts::set_up::CLUB_DAY;
use witnessmark::rules::sheet::{Kind, Sheet, YesNo};
use witnessmark::rules::sheet_file::{read, read_kept};

/// The default sheet as it was before its answers had words.
const KEPT: &str = include_str!("../data/club-day-without-meanings.toml");

fn yes_no(sheet: &Sheet) -> impl Iterator<Item = (&str, &str, &YesNo)> {
    sheet.items().filter_map(|item| match &item.kind {
        Kind::YesNo(rule) => Some((item.id.as_str(), item.ask.as_str(), rule)),
        _ => None,
    })
}

#[test]
fn each_answer_of_the_default_sheet_has_words_of_its_own_that_fit_a_button() {
    let sheet = read(CLUB_DAY).expect("the default sheet can be read");
    assert_eq!(yes_no(&sheet).count(), CLUB_DAY.matches("kind = \"yes-no\"").count());
    for (id, _, rule) in yes_no(&sheet) {
        let (yes, no) = (rule.means(true), rule.means(false));
        assert_ne!(yes.to_lowercase(), no.to_lowercase(), "{id}");
        for words in [yes, no] {
            assert!(!["yes", "no", ""].contains(&words.to_lowercase().as_str()), "{id}: {words}");
            // Three answers stand side by side on a phone of 360 px.
            assert!(words.split(' ').count() <= 4 && words.split(' ').all(|word| word.len() <= 10), "{id}: {words}");
        }
    }
    let tells =
        |id: &str, yes: bool| yes_no(&sheet).find(|(item, ..)| *item == id).map(|(_, _, rule)| rule.means(yes).to_owned());
    assert_eq!(tells("oil-leak", false).as_deref(), Some("Drips"));
    assert_eq!(tells("disc-cracks", true).as_deref(), Some("Whole"));
}

#[test]
fn a_sheet_of_before_keeps_its_answers_beside_their_questions() {
    let refused = read(KEPT).expect_err("it says nothing of what its answers mean");
    let first = KEPT.lines().position(|line| line == "id = \"lug-nuts-present\"").expect("the first yes/no item") + 1;
    assert_eq!((refused.line, refused.key.as_str()), (first, "item \"lug-nuts-present\", key `yes_means`"));
    let kept = read_kept(KEPT).expect("it was taken once");
    for (id, ask, rule) in yes_no(&kept) {
        assert_eq!(rule.means(true), format!("Yes, to \"{ask}\""), "{id}");
        assert_eq!(rule.means(false), format!("No, to \"{ask}\""), "{id}");
    }
    assert_eq!(kept.items().count(), read(CLUB_DAY).expect("the default sheet").items().count());
}

/// A sheet with a choice, a yes/no that hangs on it, a minimum and a reading that is held against it. `more` goes to the minimum,
/// `when` to the reading.
fn leaning(per: &str, more: &str, when: &str, bound: &str) -> String {
    let head = "name = \"N\"\nask = \"A?\"\ncheck = \"C.\"\nsource = \"s\"";
    let item = |id: &str, rest: &str| format!("[[area.item]]\nid = \"{id}\"\n{head}\n{rest}\n");
    let options = ["discs", "mixed", "drums"].map(|id| format!("{{ id = \"{id}\", say = \"S\" }}")).join(", ");
    let words = "yes_means = \"Vented\"\nno_means = \"Solid\"";
    let measured = |rest: &str| format!("kind = \"measurement\"\nunit = \"mm\"\npossible = [0, 50]\nmend = \"M.\"\n{rest}");
    [
        "name = \"S\"\nabout = \"S\"\n[[area]]\nid = \"a\"\nname = \"A\"\n".to_owned(),
        item("brakes", &format!("kind = \"choice\"\noptions = [{options}]")),
        item("vented", &format!("kind = \"yes-no\"\n{words}\nwhen = {{ item = \"brakes\", is = [\"discs\", \"mixed\"] }}")),
        item("least", &measured(&format!("{per}\n{more}"))),
        item("disc", &measured(&format!("{per}\n{when}\nlimits = [{{ {bound}, severity = \"stop\", source = \"s\" }}]"))),
    ]
    .concat()
}

#[test]
fn a_limit_hangs_only_on_what_is_answered_wherever_it_is_asked() {
    let discs = "when = { item = \"brakes\", is = [\"discs\"] }";
    let wider = "when = { item = \"brakes\", is = [\"mixed\", \"discs\"] }";
    let vented = "when = { item = \"vented\", is = [\"yes\"] }";
    let solid = "when = { item = \"vented\", is = [\"no\"] }";
    let (left_out, not_asked) = ("may be left out", "is not asked of every car");
    for (per, more, when, refused) in [
        ("", "", "", None),
        ("", "", discs, None),
        ("", discs, discs, None),
        ("", wider, discs, None),
        // Vented is asked only of discs: what hangs on it has both conditions.
        ("", wider, vented, None),
        ("", vented, vented, None),
        ("per = \"corner\"", "", "", None),
        ("", "required = false", "", Some(left_out)),
        ("", &format!("required = false\n{discs}"), discs, Some(left_out)),
        ("", discs, "", Some(not_asked)),
        ("", discs, wider, Some(not_asked)),
        ("", discs, vented, Some(not_asked)),
        ("", vented, discs, Some(not_asked)),
        ("", vented, solid, Some(not_asked)),
        ("per = \"cylinder\"", "", "", Some("as many cylinders as are typed")),
    ] {
        for (bound, key) in
            [("at_least_item = \"least\"", "at_least_item"), ("within_percent = 10, of_item = \"least\"", "of_item")]
        {
            let file = leaning(per, more, when, bound);
            read_kept(&file).unwrap_or_else(|error| panic!("{more} {when}: taken before, {error}"));
            match (read(&file), refused) {
                (Ok(_), None) => {}
                (Err(error), Some(words)) => {
                    let line = file.lines().position(|line| line.contains(bound)).expect("the limit") + 1;
                    assert_eq!((error.line, error.key), (line, format!("item \"disc\", limits 1, key `{key}`")));
                    assert!(error.message.contains("\"least\"") && error.message.contains(words), "{words}: {}", error.message);
                }
                (read, wanted) => panic!("{per} {more} {when}: {wanted:?}, and it was {:?}", read.map(drop)),
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// What comes in today can be read as long as it is kept, and says the same then.
    #[test]
    fn what_is_taken_new_is_read_alike_when_it_is_kept(cut in any::<prop::sample::Index>(), long in 0usize..3) {
        let mut lines: Vec<&str> = CLUB_DAY.lines().collect();
        let at = cut.index(lines.len());
        lines.drain(at..(at + long).min(lines.len()));
        let file = lines.join("\n");
        if let Ok(new) = read(&file) {
            let kept = read_kept(&file).map_err(|error| TestCaseError::fail(error.to_string()))?;
            prop_assert_eq!(format!("{new:?}"), format!("{kept:?}"));
        }
    }
}
