//! Readers: what they read, what they say of malformed files, and that nothing makes them panic.

use memory::pass_map::PassMap;
use memory::read::{
    Contents, Reading, read_binary, read_colon_records, read_contents, read_hex_text,
    read_march_log, read_s_records, read_sequence, read_table,
};
use memory::shape::{Word, read_shape};
use proptest::prelude::*;

fn reading(bits: u8, address_bits: u8) -> Reading {
    Reading {
        bits,
        address_bits,
        decimal: false,
        low_byte_first: false,
        packed: false,
    }
}

fn held(words: &[Option<Word>]) -> Vec<(usize, Word)> {
    words
        .iter()
        .enumerate()
        .filter_map(|(a, w)| w.map(|w| (a, w)))
        .collect()
}

#[test]
fn hex_text_is_read_with_both_kinds_of_address() {
    let (words, found) = read_hex_text(
        "# woven store, unit 1\n08: 9E8E699 0000000 -\n0d16: 1234567\n",
        &reading(28, 7),
    );
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(
        held(&words),
        vec![(8, 0x9E8_E699), (9, 0), (16, 0x123_4567)]
    );
    let decimal = Reading {
        decimal: true,
        ..reading(28, 7)
    };
    assert_eq!(held(&read_hex_text("10: 1", &decimal).0), vec![(10, 1)]);
}

#[test]
fn an_address_that_begins_with_0d_may_be_hexadecimal() {
    // Capital D, and a file whose addresses are all four digits long.
    assert_eq!(
        held(&read_hex_text("0D00: 1", &reading(8, 12)).0),
        vec![(0xD00, 1)]
    );
    assert_eq!(
        held(&read_hex_text("0c00: 1\n0d00: 2", &reading(8, 12)).0),
        vec![(0xC00, 1), (0xD00, 2)]
    );
    assert_eq!(
        held(&read_hex_text("0c: 1\n0d16: 2", &reading(8, 12)).0),
        vec![(0xC, 1), (16, 2)]
    );
}

#[test]
fn a_table_keeps_passes_apart() {
    let text = "address,word,pass\n0,1F,1\n1,02,1\n0,1E,2\n1,02,2\n";
    let (contents, found) = read_contents("reads.csv", text.as_bytes(), &reading(5, 4));
    assert!(found.is_empty(), "{found:?}");
    let Contents::Dumps(dumps) = contents else {
        panic!("a table is not a log")
    };
    assert_eq!(
        dumps.iter().map(|d| d.name.as_str()).collect::<Vec<_>>(),
        ["reads.csv pass 1", "reads.csv pass 2"]
    );
    assert_eq!(held(&dumps[1].words), vec![(0, 0x1E), (1, 2)]);
}

#[test]
fn a_march_log_is_known_by_its_header() {
    let text = "step,address,expected,read\nup r0,1F,00000,00010\n";
    let (contents, found) = read_contents("log.csv", text.as_bytes(), &reading(20, 7));
    assert!(found.is_empty());
    let Contents::Log(rows) = contents else {
        panic!("it is a log")
    };
    assert_eq!(
        (
            rows[0].step.as_str(),
            rows[0].address,
            rows[0].expected,
            rows[0].read
        ),
        ("up r0", 0x1F, 0, 0x10)
    );
}

// The textbook record of the format: sum of 03 00 30 00 02 33 7A is E2, so its complement is 1E (recomputed here).
#[test]
fn colon_records_with_published_checksums() {
    let text = ":0300300002337A1E\n:00000001FF\n";
    let (words, found) = read_colon_records(text, &reading(8, 8));
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(held(&words), vec![(0x30, 0x02), (0x31, 0x33), (0x32, 0x7A)]);
    let wide = read_colon_records(
        ":020000040000FA\n:0400000001020304F2\n:00000001FF\n",
        &reading(12, 4),
    )
    .0;
    assert_eq!(held(&wide), vec![(0, 0x102), (1, 0x304)]);
    let low_first = Reading {
        low_byte_first: true,
        ..reading(12, 4)
    };
    assert_eq!(
        held(&read_colon_records(":0400000001020304F2\n:00000001FF\n", &low_first).0),
        vec![(0, 0x201), (1, 0x403)]
    );
}

// The usual published example of the format: S1 13 0000 285F245F2212226A000424290008237C, checksum 2A (recomputed here).
#[test]
fn s_records_with_published_checksums() {
    let text =
        "S00600004844521B\nS1130000285F245F2212226A000424290008237C2A\nS5030001FB\nS9030000FC\n";
    let (words, found) = read_s_records(text, &reading(16, 5));
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(held(&words)[0], (0, 0x285F));
    assert_eq!(held(&words).len(), 8);
}

#[test]
fn binary_words_of_any_width() {
    assert_eq!(
        held(&read_binary(&[0x01, 0x02, 0x0F, 0xFF], &reading(12, 2)).0),
        vec![(0, 0x102), (1, 0xFFF)]
    );
    let packed = Reading {
        packed: true,
        ..reading(5, 3)
    };
    // 10101 00001 11111 0: three words of five bits.
    let (words, found) = read_binary(&[0b1010_1000, 0b0111_1110], &packed);
    assert!(found.is_empty(), "{found:?}");
    assert_eq!(held(&words), vec![(0, 0b10101), (1, 1), (2, 0b11111)]);
}

#[test]
fn malformed_files_say_what_is_wrong_and_what_would_mend_it() {
    // Name of the file (it decides nothing but `.bin`), its text, and the first message.
    let cases: [(&str, &str, &str); 27] = [
        (
            "a",
            "",
            "line 1, column 1: The file holds no words. Write lines such as `08: 9E8E699 0000000`.",
        ),
        (
            "a",
            "9E8E699",
            "line 1, column 1: This line has no address. Begin it with the address of its first word and a colon, as in `08: 9E8E699`.",
        ),
        (
            "a",
            "zz: 1",
            "line 1, column 1: `zz` is not a hexadecimal address. Addresses are hexadecimal, `0d10` is decimal, and `--decimal` makes all of them decimal.",
        ),
        (
            "a",
            "0dFF: 1",
            "line 1, column 1: `0dFF` is not a decimal address. Addresses are hexadecimal, `0d10` is decimal, and `--decimal` makes all of them decimal.",
        ),
        (
            "a",
            "99: 1",
            "line 1, column 1: Address 99 lies beyond the store, which has 4 address lines. Check the address, whether it is decimal, and `address bits=` in the shape file.",
        ),
        (
            "a",
            "0: 12 1G",
            "line 1, column 7: `1G` is not a hexadecimal word. Write digits 0-9 and A-F; a word that was not read is `-`.",
        ),
        (
            "a",
            "0: 123",
            "line 1, column 4: `123` does not fit into a word of 8 bits. Check the word, and `data bits=` in the shape file.",
        ),
        (
            "a",
            "0: 12\n0: 13",
            "line 2, column 4: Address 0 already holds 12, and now 13. Give every read of the store a file of its own, or a `pass` column.",
        ),
        (
            "a",
            "F: 12 13",
            "line 1, column 7: `13` would lie beyond the last address, F. Check the address of the line and the number of its words.",
        ),
        (
            "a",
            "3:",
            "line 1, column 2: This line has no words. Write its words, or remove it.",
        ),
        (
            "a",
            "addr,word\n0,1",
            "line 1, column 1: The header has no column `address`. Begin the file with the line `address,word`.",
        ),
        (
            "a",
            "address,word\n",
            "line 1, column 1: The table holds no words. Write rows such as `08,9E8E699`.",
        ),
        (
            "a",
            "address,word\n0,12\n5",
            "line 3, column 1: The row has no `word`. Fill the column in, or remove the row.",
        ),
        (
            "a",
            "address,word\n0,12\n5,XY",
            "line 3, column 1: `XY` is not a hexadecimal word. Write digits 0-9 and A-F; a word that was not read is `-`.",
        ),
        (
            "a",
            "address,word\n0,12\n0,13",
            "line 3, column 1: Address 0 already holds 12, and now 13. Give every read of the store a file of its own, or a `pass` column.",
        ),
        (
            "a",
            "step,address,expected,read\nr0,1,0",
            "line 2, column 1: The row has no `read`. Fill the column in, or remove the row.",
        ),
        (
            "a",
            "step,address,expected,read\nr0,1,0,-",
            "line 2, column 1: A row of a march log needs both words. Remove rows of words that were not read.",
        ),
        (
            "a",
            ":0300300002337A1F\n:00000001FF",
            "line 1, column 1: The checksum is 1F and should be 1E. The line is damaged or cut short; transfer the file again.",
        ),
        (
            "a",
            ":0400300002337A1D\n:00000001FF",
            "line 1, column 1: The record says 4 data bytes and has 3. The line is damaged or cut short; transfer the file again.",
        ),
        (
            "a",
            ":03003000023",
            "line 1, column 1: The record has half a byte. The line is damaged or cut short; transfer the file again.",
        ),
        (
            "a",
            ":00000001FF\n:00000001FF",
            "line 2, column 1: There is a record after the end record. Put every read into a file of its own.",
        ),
        (
            "a",
            ":020000080000F6\n:00000001FF",
            "line 1, column 1: Record type 08 is not known, or has a wrong length. Known types are 00 to 05.",
        ),
        (
            "a",
            ":0100000005FA",
            "line 1, column 1: The end record is missing. The line is damaged or cut short; transfer the file again.",
        ),
        (
            "a",
            "S10500000506F0\nS9030000FC",
            "line 1, column 1: The checksum is F0 and should be EF. The line is damaged or cut short; transfer the file again.",
        ),
        (
            "a",
            "S1040000FB",
            "line 1, column 1: The record says 4 bytes and has 3. The line is damaged or cut short; transfer the file again.",
        ),
        (
            "a",
            "S4040000FB\nS9030000FC",
            "line 1, column 1: Record type S4 is not known. Known types are S0 to S3 and S5 to S9.",
        ),
        (
            "a",
            "S5030001FB\nS9030000FC",
            "line 1, column 1: The file says 1 data records and has 0. The line is damaged or cut short; transfer the file again.",
        ),
    ];
    for (name, text, said) in cases {
        let (_, found) = read_contents(name, text.as_bytes(), &reading(8, 4));
        let got = found.first().map(ToString::to_string).unwrap_or_default();
        assert_eq!(got, said, "{text:?}");
    }
    let said = |bytes: &[u8], reading: &Reading| read_binary(bytes, reading).1[0].message.clone();
    assert_eq!(
        said(&[1, 2, 3], &reading(12, 4)),
        "3 bytes do not divide into words of 2 bytes."
    );
    assert_eq!(
        said(&[0xFF, 0xFF], &reading(12, 4)),
        "Word 0 is FFFF, which does not fit into 12 bits."
    );
    assert_eq!(
        said(&[0; 17], &reading(8, 4)),
        "The file holds 17 words, the store only 16."
    );
    let packed = Reading {
        packed: true,
        ..reading(5, 4)
    };
    assert_eq!(
        said(&[0xFF], &packed),
        "After 1 words of 5 bits, bits are left over that are not zero."
    );
}

#[test]
fn a_sequence_is_a_list_or_a_table_of_addresses() {
    let said = |text: &str| {
        let (addresses, found) = read_sequence(text, &reading(8, 6));
        (
            addresses,
            found.iter().map(ToString::to_string).collect::<Vec<_>>(),
        )
    };
    assert_eq!(
        said("# run 1\n00 1F,2\n0d10\n"),
        (vec![0, 0x1F, 2, 10], vec![])
    );
    assert_eq!(
        said("time,Address\n0.1,3F\n0.2,0\n"),
        (vec![0x3F, 0], vec![])
    );
    let cases = [
        (
            "",
            "line 1, column 1: The file holds no addresses. Write the micro-addresses in the order captured, such as `00 01 1F`.",
        ),
        (
            "00 01\n1F  40",
            "line 2, column 5: Address 40 lies beyond the store, which has 6 address lines. Check the address, whether it is decimal, and `address bits=` in the shape file.",
        ),
        (
            "address\n1\nx\n",
            "line 3, column 1: `x` is not a hexadecimal address. Addresses are hexadecimal, `0d10` is decimal, and `--decimal` makes all of them decimal.",
        ),
    ];
    for (text, expected) in cases {
        assert_eq!(said(text).1, [expected], "{text:?}");
    }
}

/// Text that looks a little like each of the formats.
fn likely() -> impl Strategy<Value = String> {
    let parts = prop::sample::select(vec![
        "0",
        "08",
        ":",
        "S1",
        "S9",
        "00",
        "FF",
        "03",
        ",",
        "\n",
        " ",
        "-",
        "?",
        "#",
        "\"",
        "0d",
        "0x",
        "address",
        "word",
        "step",
        "expected",
        "read",
        "pass",
        "é",
        "\0",
        "store",
        "{",
        "}",
        "=",
        "bits",
        "lines",
        "12345678901234567890123456789012345",
    ]);
    prop::collection::vec(parts, 0..60).prop_map(|p| p.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_text_makes_a_reader_panic(text in likely(), bits in 1u8..=128, address_bits in 1u8..=10) {
        let reading = Reading { low_byte_first: bits % 2 == 0, ..reading(bits, address_bits) };
        read_contents("a", text.as_bytes(), &reading);
        read_hex_text(&text, &reading);
        read_table(&text, &reading);
        read_march_log(&text, &reading);
        read_colon_records(&text, &reading);
        read_s_records(&text, &reading);
        let _ = read_shape(&text);
        read_sequence(&text, &reading);
        PassMap::read(&text);
        PassMap::working_point(&text);
    }

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), bits in 1u8..=128, packed: bool) {
        let reading = Reading { packed, ..reading(bits, 6) };
        read_contents("a", &bytes, &reading);
        read_binary(&bytes, &reading);
    }

    #[test]
    fn binary_and_records_read_back(words in prop::collection::vec(0u32..1 << 20, 1..64)) {
        let want: Vec<(usize, Word)> = words.iter().map(|w| Word::from(*w)).enumerate().collect();
        let bytes: Vec<u8> = words.iter().flat_map(|w| w.to_be_bytes()[1..].to_vec()).collect();
        prop_assert_eq!(held(&read_binary(&bytes, &reading(20, 6)).0), want.clone());
        let mut text = String::new();
        for (n, chunk) in bytes.chunks(16).enumerate() {
            let mut record = vec![chunk.len() as u8, ((n * 16) >> 8) as u8, (n * 16) as u8, 0];
            record.extend(chunk);
            let sum = record.iter().fold(0u8, |s, b| s.wrapping_add(*b));
            record.push(0u8.wrapping_sub(sum));
            text += ":";
            text.extend(record.iter().map(|b| format!("{b:02X}")));
            text += "\n";
        }
        text += ":00000001FF\n";
        let (read, found) = read_colon_records(&text, &reading(20, 6));
        prop_assert!(found.is_empty());
        prop_assert_eq!(held(&read), want);
    }
}
