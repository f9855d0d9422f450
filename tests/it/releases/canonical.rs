//! The canonical form against the published examples of RFC 8785 (Rundgren, Jordan & Erdtman 2020),
//! JSON Canonicalization Scheme.

use serde_json::Value;
use tautpool::wire::canonical;

fn canonical_of(text: &str) -> String {
    let value: Value = serde_json::from_str(text).unwrap();
    canonical(&value)
}

/// RFC 8785, section 3.2.2: numbers, a text with every kind of escape, and literals.
#[test]
fn the_sample_of_section_3_2_2_comes_out_as_printed() {
    let sample = r#"{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"#;
    let printed = r#"{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}"#;
    assert_eq!(canonical_of(sample), printed);
    // Section 3.2.4 prints the same in hexadecimal.
    let hexadecimal = "7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61 \
        6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a 5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 \
        33 33 33 2c 31 65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37 5d 2c 22 73 74 \
        72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 \
        2f 22 7d";
    let bytes: Vec<u8> = hexadecimal
        .split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect();
    assert_eq!(printed.as_bytes(), bytes);
}

/// RFC 8785, section 3.2.3: names are sorted by UTF-16 code units, so an emoji stands before a
/// letter of a higher code unit and a lower code point.
#[test]
fn names_are_sorted_as_section_3_2_3_sorts_them() {
    let sample = r#"{
      "\u20ac": "Euro Sign",
      "\r": "Carriage Return",
      "\ufb33": "Hebrew Letter Dalet With Dagesh",
      "1": "One",
      "\ud83d\ude00": "Emoji: Grinning Face",
      "\u0080": "Control",
      "\u00f6": "Latin Small Letter O With Diaeresis"
    }"#;
    let sorted = canonical_of(sample);
    let mut rest = sorted.as_str();
    for value in [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ] {
        let (_, after) = rest.split_once(value).unwrap_or_else(|| {
            panic!("{value} is not where it belongs in {sorted}");
        });
        rest = after;
    }
}

/// RFC 8785, appendix B: doubles by their bits.
#[test]
fn numbers_are_written_as_appendix_b_writes_them() {
    for (bits, printed) in [
        (0x0000_0000_0000_0000, "0"),
        (0x8000_0000_0000_0000, "0"),
        (0x0000_0000_0000_0001, "5e-324"),
        (0x8000_0000_0000_0001, "-5e-324"),
        (0x7fef_ffff_ffff_ffff, "1.7976931348623157e+308"),
        (0xffef_ffff_ffff_ffff, "-1.7976931348623157e+308"),
        (0x4340_0000_0000_0000, "9007199254740992"),
        (0xc340_0000_0000_0000, "-9007199254740992"),
        (0x4430_0000_0000_0000, "295147905179352830000"),
        (0x44b5_2d02_c7e1_4af5, "9.999999999999997e+22"),
        (0x44b5_2d02_c7e1_4af6, "1e+23"),
        (0x44b5_2d02_c7e1_4af7, "1.0000000000000001e+23"),
        (0x444b_1ae4_d6e2_ef4e, "999999999999999700000"),
        (0x444b_1ae4_d6e2_ef4f, "999999999999999900000"),
        (0x444b_1ae4_d6e2_ef50, "1e+21"),
        (0x3eb0_c6f7_a0b5_ed8c, "9.999999999999997e-7"),
        (0x3eb0_c6f7_a0b5_ed8d, "0.000001"),
        (0x41b3_de43_5555_5553, "333333333.3333332"),
        (0x41b3_de43_5555_5554, "333333333.33333325"),
        (0x41b3_de43_5555_5555, "333333333.3333333"),
        (0x41b3_de43_5555_5556, "333333333.3333334"),
        (0x41b3_de43_5555_5557, "333333333.33333343"),
        (0xbecb_f647_612f_3696, "-0.0000033333333333333333"),
        (0x4314_3ff3_c1cb_0959, "1424953923781206.2"),
    ] {
        let value = Value::from(f64::from_bits(bits));
        assert_eq!(canonical(&value), printed, "{bits:x}");
        // What is read back is the same double, but for the sign of zero.
        let read: f64 = serde_json::from_str(printed).unwrap();
        assert_eq!(read.to_bits(), (f64::from_bits(bits) + 0.0).to_bits());
    }
}
