//! The demo's people and cars. All invented.

/// The invented club.
pub const CLUB: &str = "Seven Fells Motor Club";

const FIRST: [&str; 24] = [
    "Ines", "Jonas", "Marta", "Tomas", "Priya", "Ewan", "Sofia", "Lena", "Owen", "Freya", "Hamid", "Clara", "Rufus", "Nadia",
    "Bram", "Yuki", "Carys", "Milo", "Anouk", "Felix", "Thea", "Ravi", "Greta", "Idris",
];
const LAST: [&str; 25] = [
    "Okafor",
    "Achterberg",
    "Lindqvist",
    "Reyes",
    "Nandakumar",
    "Brodie",
    "Marchetti",
    "Vogt",
    "Harrow",
    "Pell",
    "Sandoval",
    "Winterby",
    "Quill",
    "Tanaka",
    "Ferris",
    "Oduya",
    "Kessel",
    "Moran",
    "Ibsen",
    "Lacey",
    "Drummond",
    "Varga",
    "Sorrell",
    "Beck",
    "Thorne",
];
const CARS: [&str; 9] = [
    "Alder 200 GT",
    "Corvane S4",
    "Hadley Roadster",
    "Tarn Coupe",
    "Alder 140",
    "Merrow 1.8",
    "Corvane Estate",
    "Linnet Sport",
    "Brock 3.0",
];

/// A roster as a club's membership list would give it, `count` entries, begun at another place of the lists each time.
pub fn roster(count: usize, begin: usize) -> String {
    let mut text = String::from("number,name,car,group,mail\n");
    let mut number = 3 + begin % 4;
    for nth in begin..begin + count {
        let (first, last) = (FIRST[nth * 7 % FIRST.len()], LAST[nth * 11 % LAST.len()]);
        let car = CARS[nth * 5 % CARS.len()];
        let group = ["B", "A", "C"][nth % 3];
        let mail = format!("{}.{}@example.org", first.to_lowercase(), last.to_lowercase());
        text += &format!("{number},{first} {last},{car},{group},{mail}\n");
        number += 1 + nth * 3 % 5;
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn no_two_drivers_of_the_demo_have_one_name_or_number() {
        let roster = roster(60, 0);
        let names: BTreeSet<&str> = roster.lines().skip(1).filter_map(|line| line.split(',').nth(1)).collect();
        let numbers: BTreeSet<&str> = roster.lines().skip(1).filter_map(|line| line.split(',').next()).collect();
        assert_eq!((names.len(), numbers.len()), (60, 60));
    }
}
