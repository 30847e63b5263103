//! The input of every worksheet, as text: any text whatever is answered or refused.

#![no_main]

use libfuzzer_sys::fuzz_target;
use witnessmark::rules::worksheet;
use witnessmark_fuzz::worksheets::check;
use witnessmark_fuzz::written_out;

fuzz_target!(|text: &str| {
    let written = written_out(text);
    worksheet::list().into_iter().for_each(|name| check(name, text, &written));
});
