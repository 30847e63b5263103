//! What an organizer changes in a sheet from one edition to the next, by chance.

use super::dice::Dice;
use super::sheet::{Bound, Kind, Limit, Per, Sheet, Unit, Weight, When, Work, stock};

/// The sheet after an organizer has edited it in one to three places.
pub fn edited(sheet: &Sheet, dice: &mut Dice) -> Sheet {
    let mut sheet = sheet.clone();
    for _ in 0..dice.between(1, 3) {
        edit(&mut sheet, dice);
    }
    let sheet = sheet.repaired();
    if sheet.items.is_empty() { Sheet { items: stock() }.repaired() } else { sheet }
}

fn edit(sheet: &mut Sheet, dice: &mut Dice) {
    let count = sheet.items.len() as u64;
    if count == 0 {
        return;
    }
    let at = (dice.throw() % count) as usize;
    let leant_on = sheet.leant_on();
    let is_long = sheet.items[at].id.len() > 30;
    match dice.between(0, 12) {
        0 if !is_long => sheet.items[at].id.push_str("-b"),
        1 => drop(sheet.items.remove(at)),
        2 => {
            let stock = stock();
            sheet.items.push(stock[(dice.throw() % stock.len() as u64) as usize].clone());
        }
        3 if !leant_on.contains(&sheet.items[at].id) => sheet.items[at].required ^= true,
        4 | 5 => sheet.items[at].by_hand ^= true,
        6 => sheet.items.iter_mut().for_each(|item| item.by_hand = false),
        7 => {
            let other = (dice.throw() % count) as usize;
            let words = sheet.items[other].words();
            let is = words.into_iter().filter(|_| dice.once_in(2)).collect();
            let wanted = When { item: sheet.items[other].id.clone(), is };
            sheet.items[at].when = Some(wanted).filter(|_| !dice.once_in(3));
        }
        8 => {
            let works = [
                None,
                Some(Work::Noise(95.0)),
                Some(Work::Noise(110.0)),
                Some(Work::HelmetLine(51.0)),
                Some(Work::HelmetLine(20.0)),
            ];
            sheet.items[at].work = works[(dice.throw() % 5) as usize];
        }
        9 => {
            let kinds: Vec<Kind> = stock().into_iter().map(|item| item.kind).collect();
            sheet.items[at].kind = kinds[(dice.throw() % kinds.len() as u64) as usize].clone();
        }
        _ => edit_kind(&mut sheet.items[at].kind, dice),
    }
}

fn edit_kind(kind: &mut Kind, dice: &mut Dice) {
    let weights = [Weight::Note, Weight::Fix, Weight::Stop];
    let any = |dice: &mut Dice| weights[(dice.throw() % 3) as usize];
    match kind {
        Kind::YesNo { right, not_applicable, weight } => match dice.between(0, 3) {
            0 => *right = right.map(|right| !right),
            1 => *right = if right.is_none() { Some(dice.once_in(2)) } else { None },
            2 => *not_applicable ^= true,
            _ => *weight = any(dice),
        },
        Kind::Choice(options) => {
            let at = (dice.throw() % options.len() as u64) as usize;
            match dice.between(0, 2) {
                0 if options.len() > 2 => drop(options.remove(at)),
                1 => options[at].0.push('x'),
                _ => options[at].1 = Some(any(dice)).filter(|_| !dice.once_in(2)),
            }
        }
        Kind::Measure { unit, per, possible, limits } => match dice.between(0, 5) {
            0 => {
                *unit =
                    [Unit::Millimetre, Unit::Psi, Unit::NewtonMetre, unit.other_of_its_quantity()][(dice.throw() % 4) as usize]
            }
            1 => *per = [Per::Car, Per::Corner, Per::FrontCorner, Per::Axle][(dice.throw() % 4) as usize],
            2 => {
                let middle = (possible.0 + possible.1) / 2.0;
                *possible = if dice.once_in(2) { (possible.0, middle) } else { (possible.0 / 2.0, possible.1 * 2.0) };
            }
            3 => limits.clear(),
            _ => {
                let share = dice.between(1, 9) as f64 / 10.0;
                let at = ((possible.0 + (possible.1 - possible.0) * share) * 2.0).round() / 2.0;
                let bound = if dice.once_in(2) { Bound::AtLeast(at) } else { Bound::AtMost(at) };
                limits.retain(|_| !dice.once_in(2));
                limits.push(Limit { bound, weight: any(dice) });
            }
        },
    }
}
