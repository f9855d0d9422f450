use super::*;

#[test]
fn a_receipt_is_parted_behind_its_hyphens() {
    assert_eq!(groups("ABCD-EFGH-JK"), ["ABCD-", "EFGH-", "JK"]);
    assert_eq!(groups("ABCD").concat(), "ABCD");
}
