//! Gives the inputs of libFuzzer to the target `bundle`.
#![no_main]

#[path = "../../hostile/targets/mod.rs"]
#[allow(dead_code, reason = "each fuzz target takes one of them")]
mod targets;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    (targets::named("bundle").expect("the target is listed").takes)(bytes);
});
