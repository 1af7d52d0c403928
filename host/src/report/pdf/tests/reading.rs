//! A small reading of the PDF files we write, for the tests: objects, pages, text, tags.
//!
//! Knows the form our files have and no other: plain objects, fonts with two-byte codes.

use std::collections::BTreeMap;
use std::io::Read;

/// An object: its dictionary or value as text, and its stream, unpacked.
struct Object {
    text: String,
    stream: Vec<u8>,
}

/// A file read.
pub(in crate::report) struct Pdf {
    objects: BTreeMap<u32, Object>,
    trailer: String,
}

/// A word drawn on a page.
struct Drawn {
    place: (f64, f64),
    text: String,
}

fn find(bytes: &[u8], wanted: &[u8], from: usize) -> Option<usize> {
    bytes[from..].windows(wanted.len()).position(|window| window == wanted).map(|at| from + at)
}

/// What follows a key: a reference's number.
fn reference(text: &str, key: &str) -> Option<u32> {
    let after = text.split_once(key)?.1.trim_start();
    let number: String = after.chars().take_while(char::is_ascii_digit).collect();
    after[number.len()..].starts_with(" 0 R").then(|| number.parse().unwrap())
}

impl Pdf {
    pub(in crate::report) fn read(bytes: &[u8]) -> Pdf {
        assert!(bytes.starts_with(b"%PDF-1.7"));
        let xref = find(bytes, b"\nxref", 0).expect("a table of objects");
        let mut objects = BTreeMap::new();
        let mut at = 0;
        while let Some(found) = find(&bytes[..xref], b" 0 obj", at) {
            let start = bytes[..found].iter().rposition(|b| !b.is_ascii_digit()).unwrap() + 1;
            let number = std::str::from_utf8(&bytes[start..found]).unwrap().parse().unwrap();
            let end = find(bytes, b"endobj", found).expect("an object's end");
            let head = find(&bytes[..end], b"stream\n", found);
            let text = &bytes[found + 6..head.unwrap_or(end)];
            let text = String::from_utf8_lossy(text).into_owned();
            let mut stream = Vec::new();
            at = end;
            if let Some(head) = head {
                let digits = text.split_once("/Length").expect("a length").1.trim_start();
                let digits: String = digits.chars().take_while(char::is_ascii_digit).collect();
                let (from, length) = (head + 7, digits.parse::<usize>().unwrap());
                let packed = &bytes[from..from + length];
                at = find(bytes, b"endobj", from + length).expect("an object's end");
                if text.contains("/FlateDecode") {
                    flate2::read::ZlibDecoder::new(packed).read_to_end(&mut stream).unwrap();
                } else {
                    stream = packed.to_vec();
                }
            }
            assert!(objects.insert(number, Object { text, stream }).is_none(), "{number} twice");
        }
        let trailer = String::from_utf8_lossy(&bytes[xref..]).into_owned();
        Pdf { objects, trailer }
    }

    /// All dictionaries as they stand.
    pub(in crate::report) fn objects(&self) -> String {
        let all: Vec<&str> = self.objects.values().map(|object| object.text.as_str()).collect();
        all.join("\n")
    }

    fn pages(&self) -> Vec<&Object> {
        let catalog = &self.objects[&reference(&self.trailer, "/Root").expect("a root")];
        let pages = &self.objects[&reference(&catalog.text, "/Pages").expect("pages")];
        let kids = pages.text.split_once("/Kids[").expect("kids").1;
        let kids = kids.split_once(']').unwrap().0;
        kids.split(" 0 R")
            .filter_map(|kid| kid.trim().parse().ok())
            .map(|n: u32| &self.objects[&n])
            .collect()
    }

    pub(in crate::report) fn page_count(&self) -> usize {
        self.pages().len()
    }

    /// Elements of a kind in the tree of tags.
    pub(in crate::report) fn tag_count(&self, tag: &str) -> usize {
        let is_it = |object: &&Object| {
            let after = object.text.split_once("/Type/StructElem/S/").map(|(_, after)| after);
            after.is_some_and(|after| after.split(['/', '>', '<']).next() == Some(tag))
        };
        self.objects.values().filter(is_it).count()
    }

    /// Characters by code, for each font of a page.
    fn fonts(&self, page: &Object) -> BTreeMap<String, BTreeMap<u16, String>> {
        let resources = match reference(&page.text, "/Resources") {
            Some(number) => &self.objects[&number].text,
            None => &page.text,
        };
        let Some((_, fonts)) = resources.split_once("/Font<<") else { return BTreeMap::new() };
        let fonts = fonts.split_once(">>").unwrap().0;
        let mut all = BTreeMap::new();
        for part in fonts.split('/').filter(|part| !part.is_empty()) {
            let (name, number) = part.split_once(' ').unwrap();
            let number: u32 = number.split(' ').next().unwrap().parse().unwrap();
            let map = reference(&self.objects[&number].text, "/ToUnicode").expect("characters");
            let map = String::from_utf8_lossy(&self.objects[&map].stream).into_owned();
            all.insert(name.to_owned(), characters(&map));
        }
        all
    }

    fn drawn(&self, page: &Object) -> Vec<Drawn> {
        let fonts = self.fonts(page);
        let contents = reference(&page.text, "/Contents").expect("contents");
        let (mut operands, mut name, mut place) = (Vec::new(), String::new(), (0.0, 0.0));
        let mut drawn = Vec::new();
        // Where the coordinates in force lie on the page: kept by q, put back by Q.
        let mut matrix = UPRIGHT;
        let mut kept = Vec::new();
        for token in tokens(&self.objects[&contents].stream) {
            let Token::Word(word) = token else {
                operands.push(token);
                continue;
            };
            match word.as_str() {
                "q" => kept.push(matrix),
                "Q" => matrix = kept.pop().expect("as many q as Q"),
                "cm" => {
                    let six: Vec<f64> =
                        words(&operands).iter().map(|n| n.parse().unwrap()).collect();
                    // The first turns the page's origin to its upper left: that is ours already.
                    if six[3] >= 0.0 || six[0] != 1.0 {
                        matrix = within(matrix, &six);
                    }
                }
                "Tf" => name = words(&operands)[0].trim_start_matches('/').to_owned(),
                "Tm" => {
                    let numbers: Vec<f64> =
                        words(&operands).iter().rev().take(2).map(|n| n.parse().unwrap()).collect();
                    place = moved(matrix, (numbers[1], numbers[0]));
                }
                "TJ" | "Tj" => {
                    let codes = operands.iter().filter_map(|token| match token {
                        Token::Codes(bytes) => Some(bytes),
                        _ => None,
                    });
                    let font = &fonts[&name];
                    let one = |code: &[u8]| {
                        let code = u16::from_be_bytes([code[0], code[1]]);
                        font.get(&code).map_or("?", String::as_str)
                    };
                    let text = codes.flat_map(|bytes| bytes.chunks(2).map(one)).collect();
                    drawn.push(Drawn { place, text });
                }
                operator if is_operator(operator) => {}
                operand => {
                    operands.push(Token::Operand(operand.to_owned()));
                    continue;
                }
            }
            operands.clear();
        }
        drawn
    }

    /// Everything drawn, a line for each stretch.
    pub(in crate::report) fn text(&self) -> String {
        let pages = self.pages().into_iter().flat_map(|page| self.drawn(page));
        pages.map(|drawn| drawn.text + "\n").collect()
    }

    /// Where stretches of text begin, points from the upper left corner.
    pub(in crate::report) fn text_places(&self) -> Vec<(f64, f64)> {
        let pages = self.pages().into_iter().flat_map(|page| self.drawn(page));
        pages.map(|drawn| drawn.place).collect()
    }
}

/// Coordinates as they are.
const UPRIGHT: [f64; 6] = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];

fn moved(m: [f64; 6], (x, y): (f64, f64)) -> (f64, f64) {
    (m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5])
}

/// Coordinates within others.
fn within(outer: [f64; 6], inner: &[f64]) -> [f64; 6] {
    let corner = moved(outer, (inner[4], inner[5]));
    let along = |x: f64, y: f64| {
        let end = moved(outer, (x, y));
        (end.0 - outer[4], end.1 - outer[5])
    };
    let (x, y) = (along(inner[0], inner[1]), along(inner[2], inner[3]));
    [x.0, x.1, y.0, y.1, corner.0, corner.1]
}

/// A piece of a page's contents.
enum Token {
    /// A number, name or operator.
    Word(String),
    /// One that was seen to be no operator.
    Operand(String),
    /// A string.
    Codes(Vec<u8>),
}

fn is_operator(word: &str) -> bool {
    word.chars().all(|c| c.is_ascii_alphabetic() || c == '*')
}

fn words(operands: &[Token]) -> Vec<&str> {
    let word = |token: &'_ Token| matches!(token, Token::Operand(_));
    let operands = operands.iter().filter(|token| word(token));
    operands
        .map(|token| match token {
            Token::Operand(text) => text.as_str(),
            _ => "",
        })
        .collect()
}

fn tokens(bytes: &[u8]) -> Vec<Token> {
    let mut tokens = Vec::new();
    let mut word = String::new();
    let mut at = 0;
    let end_word = |word: &mut String, tokens: &mut Vec<Token>| {
        if !word.is_empty() {
            tokens.push(Token::Word(std::mem::take(word)));
        }
    };
    while at < bytes.len() {
        let byte = bytes[at];
        at += 1;
        match byte {
            b'(' => {
                end_word(&mut word, &mut tokens);
                tokens.push(Token::Codes(literal(bytes, &mut at)));
            }
            b'<' if bytes.get(at).is_some_and(u8::is_ascii_hexdigit) => {
                end_word(&mut word, &mut tokens);
                let hex: Vec<u8> =
                    bytes[at..].iter().copied().take_while(u8::is_ascii_hexdigit).collect();
                at += hex.len();
                let pair = |pair: &[u8]| {
                    u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()
                };
                tokens.push(Token::Codes(hex.chunks(2).map(pair).collect()));
            }
            b'[' | b']' | b'<' | b'>' => end_word(&mut word, &mut tokens),
            b'/' => {
                end_word(&mut word, &mut tokens);
                word.push('/');
            }
            _ if byte.is_ascii_whitespace() => end_word(&mut word, &mut tokens),
            _ => word.push(char::from(byte)),
        }
    }
    end_word(&mut word, &mut tokens);
    tokens
}

/// A string in brackets, from behind its first one.
fn literal(bytes: &[u8], at: &mut usize) -> Vec<u8> {
    let (mut found, mut depth) = (Vec::new(), 1);
    loop {
        let byte = bytes[*at];
        *at += 1;
        match byte {
            b'\\' => {
                let escaped = bytes[*at];
                *at += 1;
                if escaped.is_ascii_digit() {
                    let digits = bytes[*at - 1..].iter().take(3).take_while(|b| b.is_ascii_digit());
                    let count = digits.clone().count();
                    found.push(digits.fold(0_u8, |code, digit| code * 8 + (digit - b'0')));
                    *at += count - 1;
                    continue;
                }
                found.push(match escaped {
                    b'n' => b'\n',
                    b'r' => b'\r',
                    b't' => b'\t',
                    b'b' => 8,
                    b'f' => 12,
                    other => other,
                });
            }
            b'(' => {
                depth += 1;
                found.push(byte);
            }
            b')' => {
                depth -= 1;
                if depth == 0 {
                    return found;
                }
                found.push(byte);
            }
            _ => found.push(byte),
        }
    }
}

/// The table of codes and characters of a font.
fn characters(map: &str) -> BTreeMap<u16, String> {
    let mut all = BTreeMap::new();
    for section in map.split("beginbfchar").skip(1) {
        let section = section.split("endbfchar").next().unwrap();
        for line in section.lines() {
            let parts: Vec<&str> =
                line.split(['<', '>', ' ']).filter(|part| !part.is_empty()).collect();
            if let [code, text] = parts[..] {
                let unit = |at: usize| u16::from_str_radix(&text[at..at + 4], 16).unwrap();
                let units: Vec<u16> = (0..text.len()).step_by(4).map(unit).collect();
                let code = u16::from_str_radix(code, 16).unwrap();
                all.insert(code, String::from_utf16(&units).unwrap());
            }
        }
    }
    all
}
