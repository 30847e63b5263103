//! A passphrase: what makes a good one, and how it is kept and compared. The work is heavy on purpose and done in turn.

use super::Refusal;
use super::house::House;
use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::{PasswordHasher, PasswordVerifier};
use std::sync::LazyLock;
use tokio::sync::Semaphore;

/// The fewest characters. NIST SP 800-63B-4, 3.1.1.2: at least 15 where the passphrase is all that is asked for; no rules about
/// kinds of characters, no change by the calendar. (The section from memory.)
pub const FEWEST: usize = 15;
/// The most characters: room for any sentence, and a bound on the work of hashing.
pub const MOST: usize = 200;

/// Whose work it is. Each lane has a turn and places of its own: strangers who guess do not keep waiting who is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lane {
    /// Somebody at the door whom nobody knows.
    Strangers,
    /// A browser in which this organizer signed in before, somebody who is signed in, the holder of a good link.
    Known,
}

/// One at a time: it takes 19 MiB and a whole core, and the gate must not wait for it.
static AT_ONCE: [Semaphore; 2] = [Semaphore::const_new(1), Semaphore::const_new(1)];
/// The most who may wait for their turn: beyond it a person is asked to come back.
static WAITING: [Semaphore; 2] = [Semaphore::const_new(16), Semaphore::const_new(16)];

/// Something to compare with where there is no such organizer, so that the answer takes as long.
static NOBODYS: LazyLock<String> = LazyLock::new(|| hash("nobody has this one", [0; 20]).unwrap_or_default());

/// argon2id with 19 MiB, two passes, one lane: the crate's defaults, and the first of the settings in OWASP's password storage
/// cheat sheet (from memory).
fn hash(passphrase: &str, salt: [u8; 20]) -> Option<String> {
    Argon2::default().hash_password_with_salt(passphrase.as_bytes(), &salt).ok().map(|hash| hash.to_string())
}

/// A passphrase as it is kept.
pub(super) async fn hashed(house: &House, passphrase: &str) -> Result<String, Refusal> {
    let (passphrase, salt) = (passphrase.to_owned(), house.new_secret());
    let made = in_turn(Lane::Known, move || hash(&passphrase, salt)).await?;
    made.ok_or_else(|| Refusal::NotNow("The passphrase could not be kept. Try again.".into()))
}

/// Whether a passphrase is the one that is kept; with nothing kept it is not, and the answer takes as long.
pub(super) async fn fits(passphrase: &str, kept: Option<&str>, lane: Lane) -> Result<bool, Refusal> {
    // What is longer than any passphrase is none, and is not worth the work.
    if passphrase.chars().count() > MOST {
        return Ok(false);
    }
    let passphrase = passphrase.to_owned();
    let (kept, is_kept) = (kept.unwrap_or(&NOBODYS).to_owned(), kept.is_some());
    let fits = move || match PasswordHash::new(&kept) {
        Ok(kept) => Argon2::default().verify_password(passphrase.as_bytes(), &kept).is_ok(),
        Err(_) => false,
    };
    Ok(in_turn(lane, fits).await? && is_kept)
}

/// Does work that keeps a core busy, one after the other. The turn goes along with the work and not with who waits for it: who
/// hangs up does not make room for more work than there is.
async fn in_turn<T: Send + 'static>(lane: Lane, work: impl FnOnce() -> T + Send + 'static) -> Result<T, Refusal> {
    let busy = || Refusal::NotNow("Too many sign in at this moment. Try again in a few seconds.".into());
    let place = WAITING[lane as usize].try_acquire().map_err(|_| busy())?;
    let turn = AT_ONCE[lane as usize].acquire().await.map_err(|_| busy())?;
    let done = tokio::task::spawn_blocking(move || {
        let (_place, _turn) = (place, turn);
        work()
    });
    done.await.map_err(|_| busy())
}

/// Passphrases that are shown as examples everywhere, proverbs, first lines and sentences of all letters, as [`plain`] writes them:
/// each is long and in every guesser's list. From memory, no source; words before and after one of them count, it does not.
const WELL_KNOWN: [&str; 66] = [
    "correcthorsebatterystaple",
    "thequickbrownfoxjumpsoverthelazydog",
    "thequickbrownfoxjumpedoverthelazydog",
    "jumpsoverthelazydog",
    "thequickbrownfox",
    "packmyboxwithfivedozenliquorjugs",
    "sphinxofblackquartzjudgemyvow",
    "howvexinglyquickdaftzebrasjump",
    "thefiveboxingwizardsjumpquickly",
    "nowisthetimeforallgoodmen",
    "tocometotheaidoftheircountry",
    "loremipsumdolorsitamet",
    "consecteturadipiscingelit",
    "tobeornottobe",
    "thatisthequestion",
    "allthatglittersisnotgold",
    "alltheworldsastage",
    "shallicomparetheetoasummersday",
    "romeoromeowhereforeartthouromeo",
    "somethingisrotteninthestateofdenmark",
    "doubledoubletoilandtrouble",
    "fireburnandcauldronbubble",
    "friendsromanscountrymen",
    "lendmeyourears",
    "akingdomforahorse",
    "mykingdomforahorse",
    "itwasthebestoftimes",
    "itwastheworstoftimes",
    "itwasadarkandstormynight",
    "callmeishmael",
    "onceuponatime",
    "inalandfarfaraway",
    "longlongtimeago",
    "happilyeverafter",
    "opensesame",
    "inthebeginningwastheword",
    "inthebeginninggodcreated",
    "theheavenandtheearth",
    "thelordismyshepherd",
    "ourfatherwhoartinheaven",
    "wethepeopleoftheunitedstates",
    "fourscoreandsevenyearsago",
    "ithinkthereforeiam",
    "anappleadaykeepsthedoctoraway",
    "theearlybirdcatchestheworm",
    "abirdinthehandisworthtwointhebush",
    "abirdinthehand",
    "actionsspeaklouderthanwords",
    "apicturesaysathousandwords",
    "alliswellthatendswell",
    "allworkandnoplay",
    "betterlatethannever",
    "whenlifegivesyoulemons",
    "practicemakesperfect",
    "romewasnotbuiltinaday",
    "whenthecatsawaythemicewillplay",
    "wherethereisawillthereisaway",
    "maryhadalittlelamb",
    "itsfleecewaswhiteassnow",
    "twinkletwinklelittlestar",
    "howiwonderwhatyouare",
    "rowrowrowyourboat",
    "humptydumptysatonawall",
    "jackandjillwentupthehill",
    "happybirthdaytoyou",
    "supercalifragilisticexpialidocious",
];

/// A text without what people put in to make it look different: spaces, signs, capitals, figures in place of letters.
fn plain(text: &str) -> String {
    let letter = |c: char| match c {
        '0' => Some('o'),
        '1' | '!' => Some('i'),
        '3' => Some('e'),
        '4' | '@' => Some('a'),
        '5' | '$' => Some('s'),
        '7' => Some('t'),
        c if c.is_alphanumeric() => Some(c),
        _ => None,
    };
    text.chars().filter_map(letter).flat_map(char::to_lowercase).collect()
}

/// The shortest of the club's own words that counts for nothing: shorter ones are in every sentence.
const SHORTEST_OWN: usize = 4;

/// What is left of a text without the well-known ones and the club's own words in it; `None` where there is none.
fn without_known(text: &str, ways: &[String]) -> Option<String> {
    let mut left = plain(text);
    let whole = left.len();
    let own = ways.iter().map(|way| plain(way)).filter(|way| way.chars().count() >= SHORTEST_OWN);
    let mut known: Vec<String> = WELL_KNOWN.map(str::to_owned).into_iter().chain(own).collect();
    // The longest first: one may begin with another.
    known.sort_unstable_by_key(|known| std::cmp::Reverse(known.len()));
    for known in known {
        left = left.replace(&known, " ");
    }
    let left: String = left.split_whitespace().collect();
    (left.len() < whole).then_some(left)
}

/// Each of these in the ways in which somebody would use it: whole, without its gaps, its words, its first letters.
fn ways_of(known: &[&str]) -> Vec<String> {
    let mut ways = Vec::new();
    for text in known.iter().map(|text| text.to_lowercase()) {
        let words: Vec<&str> = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
        ways.extend(words.iter().filter(|word| word.chars().count() > 2).map(|word| (*word).to_owned()));
        ways.extend([words.concat(), words.join(" "), words.iter().filter_map(|word| word.chars().next()).collect()]);
        ways.push(text);
    }
    ways.retain(|way| way.chars().count() > 1);
    ways.sort_unstable();
    ways.dedup();
    ways
}

/// Says what is wrong with a passphrase: too short, or one that is tried first. `known` are words that a guesser knows too: the
/// club's name, its events, its people.
///
/// The library holds lists of common passwords, names and words, and reckons in how many tries a clever guesser is there. It does not
/// know sentences that everybody knows: those are in a short list here.
///
/// # Example: length counts, and being a common one does
/// ```
/// use witnessmark::acts::passphrase::check;
/// assert!(check("three wet dogs on a ferry", &[]).is_ok());
/// assert!(check("Tr0ub4dor&3", &[]).is_err());
/// assert!(check("passwordpassword", &[]).is_err());
/// assert!(check("Correct Horse, Battery Staple!", &[]).is_err());
/// ```
///
/// # Errors
/// A sentence for the person.
pub fn check(passphrase: &str, known: &[&str]) -> Result<(), String> {
    let length = passphrase.chars().count();
    if length < FEWEST {
        return Err(format!(
            "This has {length} of at least {FEWEST} characters. Four or five words that do not belong together are good."
        ));
    }
    if length > MOST {
        return Err(format!("At most {MOST} characters."));
    }
    let ways = ways_of(known);
    let inputs: Vec<&str> = ways.iter().map(String::as_str).collect();
    let is_hard = |text: &str| {
        let begin: String = text.chars().take(100).collect();
        zxcvbn::zxcvbn(&begin, &inputs).score() >= zxcvbn::Score::Four
    };
    if !is_hard(passphrase) || without_known(passphrase, &ways).is_some_and(|left| !is_hard(&left)) {
        return Err("This is among the first that a guesser tries: common words, names, well-known sentences, rows of keys or \
            repeats. Take words that do not belong together."
            .into());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLUB: [&str; 4] = ["Seven Fells Motor Club", "Spring day", "Dunmere Ring", "M. Ashdown"];

    #[test]
    fn what_everybody_knows_is_refused_however_it_is_written() {
        for known in WELL_KNOWN {
            assert_eq!(plain(known), known, "as the comparison writes it");
        }
        for common in [
            "correct horse battery staple",
            "Correct-Horse-Battery-Staple1!",
            "c0rrecth0rseb4tterystaple",
            "thequickbrownfoxjumpsoverthelazydog",
            "The quick brown fox jumped over the lazy dog 2026",
            "To be, or not to be: that is the question",
            "it was the best of times, it was the worst of times",
            "once upon a time in a land far far away",
            "Twinkle twinkle little star how I wonder what you are",
            "the early bird catches the worm",
        ] {
            assert!(check(common, &CLUB).is_err(), "{common}");
        }
    }

    #[test]
    fn what_a_guesser_knows_of_the_club_is_refused() {
        for common in [
            "SevenFellsMotorClub2026",
            "Seven Fells Motor Club 2026",
            "sevenfells-springday-2026",
            "Spring day at Dunmere Ring",
            "M. Ashdown, Seven Fells",
            "MAshdownSpringDay2026!",
            "witnessmarkwitnessmark",
        ] {
            assert!(check(common, &[&CLUB[..], &["witnessmark"]].concat()).is_err(), "{common}");
        }
    }

    #[test]
    fn words_that_do_not_belong_together_are_taken() {
        for good in [
            "three wet dogs on a ferry",
            "a kettle sings in Norwegian",
            "gravel umbrella nineteen tuba",
            "a motor hums under nine purple lanterns",
            "once upon a time a purple forklift yodelled in the pantry",
        ] {
            assert_eq!(check(good, &CLUB), Ok(()), "{good}");
        }
    }
}
