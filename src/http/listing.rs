//! Lists that grow, part by part: each part begins after a key, so that what is added in between
//! neither repeats nor hides an entry. The next part stands in the document and in `Link` (RFC 8288).

use super::problem::Problem;
use crate::wire::problem::ProblemKind;
use actix_web::HttpResponse;
use actix_web::http::header::{self, HeaderValue};
use actix_web::web::Query;
use std::ops::Range;

/// Most entries of one part, and how many there are when nothing is said.
pub(super) const MOST: usize = 100;

/// Longest key that is looked at.
const LONGEST_KEY: usize = 64;

/// Which part of a list is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Asked {
    limit: Option<usize>,
    after: Option<String>,
}

/// A part of a list: which entries, and where the next ones are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) entries: Range<usize>,
    pub(super) next: Option<String>,
}

impl Asked {
    /// From the query of an address. What it asks besides is not looked at.
    pub(super) fn of(query: &str) -> Result<Self, Problem> {
        let pairs = Query::<Vec<(String, String)>>::from_query(query);
        let pairs = pairs.map_err(|_| {
            refused("The part of the address after the question mark cannot be read.")
        })?;
        let only = |name: &str| {
            let mut values = pairs.iter().filter(|(known, _)| known == name);
            let value = values.next().map(|(_, value)| value.clone());
            match values.next() {
                Some(_) => Err(refused(format!(
                    "`{name}` stands there twice; say it once."
                ))),
                None => Ok(value),
            }
        };
        let limit = only("limit")?.map(|text| limit(&text)).transpose()?;
        let after = only("after")?;
        if after.as_ref().is_some_and(|key| LONGEST_KEY < key.len()) {
            return Err(refused("`after` is longer than any key of this list."));
        }
        Ok(Self { limit, after })
    }

    /// The key after which the part begins.
    pub(super) fn after(&self) -> Option<&str> {
        self.after.as_deref()
    }

    /// The part of the list at `path` whose entries have these keys, in their order, of which the
    /// first `n_before` come before it.
    pub(super) fn part(&self, path: &str, keys: &[String], n_before: usize) -> Part {
        let end = n_before
            .saturating_add(self.limit.unwrap_or(MOST))
            .min(keys.len());
        let entries = n_before.min(end)..end;
        let last = (end < keys.len()).then(|| keys.get(end - 1)).flatten();
        let limit = self.limit.map(|limit| format!("limit={limit}&"));
        let next = last.map(|last| format!("{path}?{}after={last}", limit.unwrap_or_default()));
        Part { entries, next }
    }
}

fn limit(text: &str) -> Result<usize, Problem> {
    let is_number = text.bytes().all(|byte| byte.is_ascii_digit());
    let number = text
        .parse()
        .ok()
        .filter(|number| is_number && (1..=MOST).contains(number));
    number.ok_or_else(|| refused(format!("`limit` must be a whole number from 1 to {MOST}.")))
}

/// A query that cannot be followed.
pub(super) fn refused(detail: impl Into<String>) -> Problem {
    Problem::new(ProblemKind::BadRequest, detail)
}

/// Says where the next part is.
pub(super) fn link(mut answer: HttpResponse, next: Option<&str>) -> HttpResponse {
    let link = next.map(|next| HeaderValue::from_str(&format!("<{next}>; rel=\"next\"")));
    if let Some(Ok(link)) = link {
        answer.headers_mut().insert(header::LINK, link);
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys(n_keys: usize) -> Vec<String> {
        (1..=n_keys).map(|number| number.to_string()).collect()
    }

    #[test]
    fn parts_follow_each_other_without_gap_or_repetition() {
        let keys = keys(7);
        let (mut query, mut seen) = ("limit=3".to_owned(), Vec::new());
        for _ in 0..3 {
            let asked = Asked::of(&query).unwrap();
            let after = asked.after().map_or(0, |key| key.parse().unwrap());
            let part = asked.part("/list", &keys, after);
            seen.extend(keys.get(part.entries).unwrap().to_vec());
            let Some(next) = part.next else { break };
            query = next.strip_prefix("/list?").unwrap().to_owned();
        }
        assert_eq!(seen, keys);
        assert_eq!(query, "limit=3&after=6");
    }

    #[test]
    fn without_a_limit_a_part_has_a_hundred_entries() {
        let asked = Asked::of("").unwrap();
        let part = asked.part("/list", &keys(250), 0);
        assert_eq!(part.entries, 0..100);
        assert_eq!(part.next.as_deref(), Some("/list?after=100"));
        let whole = asked.part("/list", &keys(100), 0);
        assert_eq!((whole.entries, whole.next), (0..100, None));
        let beyond = asked.part("/list", &keys(3), 3);
        assert_eq!((beyond.entries, beyond.next), (3..3, None));
        assert_eq!(asked.part("/list", &[], 0).entries, 0..0);
    }

    #[test]
    fn what_cannot_be_followed_is_refused_in_words() {
        for query in [
            "limit=0",
            "limit=101",
            "limit=-1",
            "limit=",
            "limit=ten",
            "limit=1.5",
            "limit=%2B5",
            "limit=99999999999999999999999",
            "limit=1&limit=1",
            "after=a&after=b",
        ] {
            let problem = Asked::of(query).unwrap_err();
            assert_eq!(problem.kind, ProblemKind::BadRequest, "{query}");
        }
        let long = format!("after={}", "a".repeat(65));
        assert!(Asked::of(&long).is_err());
        for query in ["", "other=1", "limit=5&x=y", "after=", "&&", "=&="] {
            assert!(Asked::of(query).is_ok(), "{query}");
        }
    }
}
