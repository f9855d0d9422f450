//! Parts of a body: range requests (RFC 9110, section 14), for one range of bytes.

use actix_web::HttpRequest;
use actix_web::http::Method;
use actix_web::http::header::{self, EntityTag};
use std::ops::Range;

/// What of a body is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// All of it.
    All,
    /// These bytes.
    Bytes(Range<usize>),
    /// Bytes that it does not have.
    Beyond,
}

/// Whether a part is asked for at all. A range means something with GET alone.
pub(super) fn is_asked(request: &HttpRequest) -> bool {
    request.method() == Method::GET && request.headers().contains_key(header::RANGE)
}

/// What a request asks for of a body of `length` bytes with a tag. Several ranges, other units and
/// what cannot be read count as if nothing had been asked, and so does a condition that fails.
pub(super) fn asked(request: &HttpRequest, tag: &EntityTag, length: usize) -> Part {
    let headers = request.headers();
    let condition = headers.get(header::IF_RANGE);
    if condition.is_some_and(|theirs| !is_same(theirs.to_str().unwrap_or_default(), tag)) {
        return Part::All;
    }
    let range = headers
        .get(header::RANGE)
        .and_then(|text| text.to_str().ok());
    range
        .and_then(|text| range_of(text, length))
        .unwrap_or(Part::All)
}

/// Compared strongly. A date never holds, since no body here has one.
fn is_same(theirs: &str, tag: &EntityTag) -> bool {
    let theirs = theirs.trim().parse::<EntityTag>();
    theirs.is_ok_and(|theirs| theirs.strong_eq(tag))
}

fn range_of(text: &str, length: usize) -> Option<Part> {
    let (unit, set) = text.split_once('=')?;
    if !unit.trim().eq_ignore_ascii_case("bytes") {
        return None;
    }
    let (first, last) = set.trim().split_once('-')?;
    if first.is_empty() {
        let from_the_end = digits(last)?.min(length);
        return Some(if from_the_end == 0 {
            Part::Beyond
        } else {
            Part::Bytes(length - from_the_end..length)
        });
    }
    let first = digits(first)?;
    let last = if last.is_empty() {
        usize::MAX
    } else {
        digits(last)?
    };
    if last < first {
        return None;
    }
    Some(if length <= first {
        Part::Beyond
    } else {
        Part::Bytes(first..last.saturating_add(1).min(length))
    })
}

/// A whole number without sign; one too large to count with is as good as the largest.
fn digits(text: &str) -> Option<usize> {
    let is_number = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    is_number.then(|| text.parse().unwrap_or(usize::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    fn part(range: &'static str, condition: Option<&'static str>) -> Part {
        let mut request = TestRequest::get().insert_header(("range", range));
        if let Some(condition) = condition {
            request = request.insert_header(("if-range", condition));
        }
        let tag = EntityTag::new_strong("abc".to_owned());
        asked(&request.to_http_request(), &tag, 10_000)
    }

    #[test]
    fn ranges_are_read_as_the_standard_gives_them() {
        // The examples of RFC 9110, section 14.1.2, for a body of 10,000 bytes.
        for (text, bytes) in [
            ("bytes=0-499", 0..500),
            ("bytes=500-999", 500..1000),
            ("bytes=-500", 9500..10_000),
            ("bytes=9500-", 9500..10_000),
            ("BYTES=0-0", 0..1),
            ("bytes=-1", 9999..10_000),
            ("bytes=9999-99999999999999999999999999", 9999..10_000),
            ("bytes=-99999999999999999999999999", 0..10_000),
        ] {
            assert_eq!(part(text, None), Part::Bytes(bytes), "{text}");
        }
        for beyond in ["bytes=10000-", "bytes=10000-10001", "bytes=-0"] {
            assert_eq!(part(beyond, None), Part::Beyond, "{beyond}");
        }
        for other in [
            "bytes=0-0,-1",
            "bytes=5-2",
            "bytes=",
            "bytes=-",
            "bytes",
            "lines=0-1",
            "bytes=a-b",
            "bytes=+1-2",
            "bytes=0-1x",
            "",
        ] {
            assert_eq!(part(other, None), Part::All, "{other}");
        }
    }

    #[test]
    fn a_condition_holds_for_the_same_strong_tag_alone() {
        assert_eq!(part("bytes=0-1", Some("\"abc\"")), Part::Bytes(0..2));
        for theirs in [
            "W/\"abc\"",
            "\"other\"",
            "abc",
            "",
            "Sat, 29 Oct 1994 19:43:31 GMT",
        ] {
            assert_eq!(part("bytes=0-1", Some(theirs)), Part::All, "{theirs}");
        }
    }

    #[test]
    fn a_range_means_something_with_get_alone() {
        let range = ("range", "bytes=0-1");
        assert!(is_asked(
            &TestRequest::get().insert_header(range).to_http_request()
        ));
        let head = TestRequest::default().method(Method::HEAD);
        assert!(!is_asked(&head.insert_header(range).to_http_request()));
        assert!(!is_asked(&TestRequest::get().to_http_request()));
    }
}
