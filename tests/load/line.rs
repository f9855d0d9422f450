//! One connection that is kept, and as little work for an answer as can be: the generator shares
//! its machine with the service.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// Longest that is waited for an answer.
const WITHIN: Duration = Duration::from_secs(60);

/// What came back.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) tag: Option<String>,
    pub(crate) is_put_off: bool,
    pub(crate) body: Vec<u8>,
}

/// A connection, made when it is needed.
#[derive(Debug)]
pub(crate) struct Line {
    address: String,
    stream: Option<BufReader<TcpStream>>,
}

impl Line {
    pub(crate) fn new(address: &str) -> Self {
        Self {
            address: address.to_owned(),
            stream: None,
        }
    }

    /// Asks and waits for the answer. A kept connection that the server closed meanwhile is made
    /// anew once, as clients do.
    pub(crate) fn ask(
        &mut self,
        method: &str,
        target: &str,
        fields: &str,
        body: &str,
    ) -> io::Result<Answer> {
        let length = if body.is_empty() {
            String::new()
        } else {
            format!(
                "content-type: application/json\r\ncontent-length: {}\r\n",
                body.len()
            )
        };
        let request = format!(
            "{method} {target} HTTP/1.1\r\nhost: {}\r\n{fields}{length}\r\n{body}",
            self.address
        );
        let was_kept = self.stream.is_some();
        match self.try_once(request.as_bytes()) {
            Err(_) if was_kept => self.try_once(request.as_bytes()),
            other => other,
        }
    }

    fn try_once(&mut self, request: &[u8]) -> io::Result<Answer> {
        let mut stream = match self.stream.take() {
            Some(stream) => stream,
            None => self.connect()?,
        };
        stream.get_mut().write_all(request)?;
        let (answer, is_kept) = read(&mut stream)?;
        if is_kept {
            self.stream = Some(stream);
        }
        Ok(answer)
    }

    fn connect(&self) -> io::Result<BufReader<TcpStream>> {
        let stream = TcpStream::connect(&self.address)?;
        stream.set_nodelay(true)?;
        stream.set_read_timeout(Some(WITHIN))?;
        stream.set_write_timeout(Some(WITHIN))?;
        Ok(BufReader::with_capacity(64 * 1024, stream))
    }
}

/// An answer, and whether the connection goes on.
fn read(stream: &mut BufReader<TcpStream>) -> io::Result<(Answer, bool)> {
    let first = read_line(stream)?;
    let status = first.split(' ').nth(1).and_then(|word| word.parse().ok());
    let status = status.ok_or_else(|| io::Error::other(format!("no answer: {first:?}")))?;
    let (mut length, mut tag, mut retries, mut is_kept) = (0, None, false, true);
    loop {
        let line = read_line(stream)?;
        let Some((name, value)) = line.split_once(": ") else {
            break;
        };
        match name {
            "content-length" => length = value.parse().map_err(io::Error::other)?,
            "etag" => tag = Some(value.to_owned()),
            "retry-after" => retries = true,
            "connection" => is_kept = value != "close",
            _ => {}
        }
    }
    let mut body = Vec::new();
    if status != 304 && status != 204 {
        body.resize(length, 0);
        stream.read_exact(&mut body)?;
    }
    let answer = Answer {
        status,
        tag,
        is_put_off: status == 503 && retries,
        body,
    };
    Ok((answer, is_kept))
}

fn read_line(stream: &mut BufReader<TcpStream>) -> io::Result<String> {
    let mut line = String::new();
    if stream.read_line(&mut line)? == 0 {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    line.truncate(line.trim_end().len());
    Ok(line)
}
