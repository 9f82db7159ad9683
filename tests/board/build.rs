//! Compilers: nothing to warn of, and small enough for the part.

use std::process::Command;

use super::in_c::{run, sources};

/// STM32F405: the program keeps to its first flash sector of 16 KB; 112 KB of RAM in one piece.
/// Source: reference manual RM0090, "Embedded Flash memory" and "Memory map", from memory.
const FLASH: u32 = 16 * 1024;
const RAM: u32 = 112 * 1024;

/// Runs the build script into a directory; what it printed.
pub(crate) fn build(trace: bool, into: &std::path::Path) -> String {
    let mut script = Command::new("bash");
    script.arg(sources().join("build.sh"));
    if trace {
        script.arg("--trace");
    }
    run(script.arg(into), "bash")
}

/// Name, bytes of flash, bytes of RAM.
fn sizes(text: &str) -> Vec<(String, u32, u32)> {
    let number = |line: &str, word: &str| {
        let (_, rest) = line.split_once(word).unwrap_or_else(|| panic!("no {word} in {line}"));
        rest.split_whitespace().next().unwrap().parse::<u32>().unwrap()
    };
    let line = |line: &str| {
        let (name, rest) = line.split_once(": ").unwrap();
        (name.to_owned(), number(rest, "flash"), number(rest, "RAM"))
    };
    text.lines().map(line).collect()
}

#[test]
fn it_fits_its_processor_and_what_the_readme_says() {
    let dir = tempfile::tempdir().unwrap();
    let built = sizes(&build(false, dir.path()));
    let readme = std::fs::read_to_string(sources().join("README.md")).unwrap();
    for (name, in_readme) in [("board", "24 channels"), ("size-of-512", "512 channels")] {
        let (_, flash, ram) =
            built.iter().find(|(built, ..)| built == name).expect("a line for each");
        assert!(*flash <= FLASH && *ram + 2048 <= RAM, "{name}: {flash} and {ram}");
        // The table in the README: flash and RAM in bytes, within a twentieth for other compilers.
        let row =
            readme.lines().find(|line| line.starts_with(&format!("| {in_readme} |"))).unwrap();
        let told: Vec<f64> =
            row.split('|').filter_map(|cell| cell.trim().replace(',', "").parse().ok()).collect();
        for (told, got) in told.iter().zip([flash, ram]) {
            let got = f64::from(*got);
            assert!((told - got).abs() <= 0.05 * got, "{in_readme}: {told} told, {got} built");
        }
        assert_eq!(told.len(), 2, "{row}");
    }
    // What a programmer writes is the whole program, vectors first: stack, then reset.
    let image = std::fs::read(dir.path().join("board.bin")).unwrap();
    let word = |at: usize| u32::from_le_bytes(image[at..at + 4].try_into().unwrap());
    assert_eq!(word(0), 0x2000_0000 + RAM);
    assert!((0x0800_0000..0x0800_0000 + FLASH).contains(&word(4)) && word(4) % 2 == 1);
}

#[test]
fn the_portable_part_compiles_without_a_warning() {
    let dir = tempfile::tempdir().unwrap();
    for channels in [1, 2, 23, 512] {
        for file in ["coil_wire.c", "coil_limit.c", "coil_link.c", "limits_store.c"] {
            let mut cc = Command::new("cc");
            cc.args(["-std=c99", "-O2", "-Wall", "-Wextra", "-Wconversion", "-Wsign-conversion"]);
            cc.args(["-Wshadow", "-pedantic", "-Werror", "-ffreestanding", "-c"]);
            cc.arg(format!("-DCOIL_CHANNELS={channels}")).arg(sources().join(file));
            run(cc.arg("-o").arg(dir.path().join("one.o")), "a C compiler called cc");
        }
    }
    for channels in ["0", "513"] {
        let mut cc = Command::new("cc");
        cc.args(["-std=c99", "-c", "-o", "/dev/null"]).arg(format!("-DCOIL_CHANNELS={channels}"));
        let refused = cc.arg(sources().join("coil_link.c")).output().unwrap();
        assert!(!refused.status.success(), "{channels} channels were not refused");
    }
}

/// The link asks nothing of a C library: its objects need no more than what a compiler itself may
/// call.
#[test]
fn the_portable_part_calls_no_library() {
    let dir = tempfile::tempdir().unwrap();
    build(false, dir.path());
    let mut nm = Command::new("arm-none-eabi-nm");
    let symbols = run(nm.arg("-u").arg(dir.path().join("board.elf")), "arm-none-eabi-nm");
    assert_eq!(symbols.trim(), "", "the program is linked without a library");
}
