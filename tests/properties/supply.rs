//! What the program is made of: licences, sources and doubled versions, held against `deny.toml` without a network.

use serde_json::Value as Json;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

/// What cargo knows of every crate in the lock file, for the machines that the program is made for.
fn metadata() -> Json {
    let root = env!("CARGO_MANIFEST_DIR");
    let arguments =
        ["metadata", "--locked", "--offline", "--format-version", "1", "--filter-platform", "x86_64-unknown-linux-gnu"];
    let told = Command::new(env!("CARGO")).args(arguments).current_dir(root).output().expect("cargo runs");
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    serde_json::from_slice(&told.stdout).expect("cargo's own form")
}

fn list<'a>(of: &'a Json, name: &str) -> &'a [Json] {
    of[name].as_array().map(Vec::as_slice).unwrap_or_default()
}

fn text<'a>(of: &'a Json, name: &str) -> &'a str {
    of[name].as_str().unwrap_or_default()
}

/// The table of `deny.toml`.
fn deny() -> toml::Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deny.toml");
    std::fs::read_to_string(path).expect("deny.toml").parse().expect("TOML")
}

fn words(table: &toml::Table, of: &str, name: &str) -> BTreeSet<String> {
    let list = table[of][name].as_array().expect("a list");
    let word = |entry: &toml::Value| entry.as_str().or_else(|| entry.get("crate")?.as_str()).expect("a name").to_owned();
    list.iter().map(word).collect()
}

/// Whether an expression of licences (SPDX, annex D) is met by these alone. Older crates write a slash for OR.
fn is_met(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let spaced = expression.replace('(', " ( ").replace(')', " ) ").replace('/', " OR ");
    let mut words: Vec<&str> = spaced.split_whitespace().rev().collect();
    let met = any_of(&mut words, allowed);
    assert!(words.is_empty(), "{expression}");
    met
}

fn any_of(words: &mut Vec<&str>, allowed: &BTreeSet<String>) -> bool {
    let mut met = all_of(words, allowed);
    while words.pop_if(|word| *word == "OR").is_some() {
        met |= all_of(words, allowed);
    }
    met
}

fn all_of(words: &mut Vec<&str>, allowed: &BTreeSet<String>) -> bool {
    let mut met = one(words, allowed);
    while words.pop_if(|word| *word == "AND").is_some() {
        met &= one(words, allowed);
    }
    met
}

fn one(words: &mut Vec<&str>, allowed: &BTreeSet<String>) -> bool {
    if words.pop_if(|word| *word == "(").is_some() {
        let met = any_of(words, allowed);
        assert_eq!(words.pop(), Some(")"));
        return met;
    }
    let mut name = words.pop().expect("a licence").to_owned();
    if words.pop_if(|word| *word == "WITH").is_some() {
        name = format!("{name} WITH {}", words.pop().expect("an exception"));
    }
    allowed.contains(&name)
}

#[test]
fn an_expression_of_licences_is_read_as_it_is_written() {
    let allowed = ["MIT", "ISC"].map(str::to_owned).into();
    for met in ["MIT", "MIT OR Apache-2.0", "Apache-2.0/MIT", "(Apache-2.0 OR MIT) AND ISC", "GPL-2.0 OR MIT AND ISC"] {
        assert!(is_met(met, &allowed), "{met}");
    }
    for not in ["Apache-2.0", "MIT AND Apache-2.0", "MIT WITH Some-exception", "(MIT OR ISC) AND GPL-2.0"] {
        assert!(!is_met(not, &allowed), "{not}");
    }
}

#[test]
fn every_crate_comes_from_a_registry_under_a_licence_that_we_may_give_on() {
    let (told, allowed) = (metadata(), words(&deny(), "licenses", "allow"));
    let packages = list(&told, "packages");
    assert!(packages.len() > 100, "cargo told of them all");
    for package in packages {
        let (name, source) = (text(package, "name"), package["source"].as_str());
        let is_ours = source.is_none() && name == env!("CARGO_PKG_NAME");
        assert!(is_ours || source.is_some_and(|source| source.starts_with("registry+")), "{name} comes from {source:?}");
        let licence = text(package, "license");
        assert!(!licence.is_empty() && is_met(licence, &allowed), "{name} is under {licence:?}");
    }
}

/// Whether a way from one crate to another is taken for the program and not for its tests alone.
fn ships(dependency: &Json) -> bool {
    list(dependency, "dep_kinds").iter().any(|kind| kind["kind"].as_str() != Some("dev"))
}

#[test]
fn no_crate_is_in_the_program_in_two_versions_but_those_that_are_known() {
    let told = metadata();
    let nodes: BTreeMap<&str, &Json> = list(&told["resolve"], "nodes").iter().map(|node| (text(node, "id"), node)).collect();
    let mut shipped = BTreeSet::new();
    let mut next = vec![text(&told["resolve"], "root")];
    while let Some(id) = next.pop() {
        if shipped.insert(id) {
            next.extend(list(nodes[id], "deps").iter().filter(|to| ships(to)).map(|to| text(to, "pkg")));
        }
    }
    let mut versions: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for package in list(&told, "packages").iter().filter(|package| shipped.contains(text(package, "id"))) {
        versions.entry(text(package, "name")).or_default().insert(text(package, "version"));
    }
    let known = words(&deny(), "bans", "skip");
    let new: Vec<_> = versions.iter().filter(|(name, all)| all.len() > 1 && !known.contains(**name)).collect();
    assert!(new.is_empty(), "doubled, and not in deny.toml: {new:?}");
}
