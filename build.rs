//! Compiles the screens of `ui/` into Rust.

fn main() {
    let config = slint_build::CompilerConfiguration::new()
        .with_style("fluent".into())
        .with_debug_info(true);
    slint_build::compile_with_config("ui/main.slint", config).expect("the screens in ui/ compile");
}
