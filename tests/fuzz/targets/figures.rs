//! Worksheets with the right fields and any figures whatever: the first byte picks the worksheet, the others its readings.

#![no_main]

use libfuzzer_sys::arbitrary::Unstructured;
use libfuzzer_sys::fuzz_target;
use witnessmark::rules::worksheet;
use witnessmark_fuzz::figures::input;
use witnessmark_fuzz::worksheets::check;

fuzz_target!(|bytes: &[u8]| {
    let mut bytes = Unstructured::new(bytes);
    let names = worksheet::list();
    let Ok(name) = bytes.choose(&names) else { return };
    if let Ok(input) = input(name, &mut bytes) {
        let text = input.to_string();
        check(name, &text, &text);
    }
});
