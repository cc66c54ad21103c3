//! Replies as a device writes them (IEEE 488.2 clause 8.7). Their ending is
//! the line's, not known here.

/// The data elements of one response, comma separated.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Response {
    bytes: Vec<u8>,
}

impl Response {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    fn separate(&mut self) {
        if !self.bytes.is_empty() {
            self.bytes.push(b',');
        }
    }

    /// Adds an integer (NR1).
    #[must_use]
    pub fn integer(mut self, value: i64) -> Self {
        self.separate();
        self.bytes.extend_from_slice(value.to_string().as_bytes());
        self
    }

    /// Adds a number with a fixed count of `decimals`, at least one (NR2); the
    /// special numbers come as NR3.
    #[must_use]
    pub fn fixed(mut self, value: f64, decimals: usize) -> Self {
        if !value.is_finite() || value.abs() >= 1e15 {
            return self.scientific(value);
        }
        self.separate();
        let decimals = decimals.clamp(1, 15);
        let text = format!("{value:.decimals$}");
        // A rounded negative zero reads as noise.
        let zero = text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.'));
        let text = if zero {
            text.trim_start_matches('-')
        } else {
            &text
        };
        self.bytes.extend_from_slice(text.as_bytes());
        self
    }

    /// Adds a number in scientific form (NR3), shortest that reads back.
    #[must_use]
    pub fn scientific(mut self, value: f64) -> Self {
        self.separate();
        self.bytes.extend_from_slice(nr3(value).as_bytes());
        self
    }

    /// Adds 1 or 0.
    #[must_use]
    pub fn boolean(self, value: bool) -> Self {
        self.integer(i64::from(value))
    }

    /// Adds a word as it is.
    #[must_use]
    pub fn word(mut self, word: &str) -> Self {
        self.separate();
        self.bytes.extend_from_slice(word.as_bytes());
        self
    }

    /// Adds a string in double quotes, inner ones doubled.
    #[must_use]
    pub fn quoted(mut self, text: &str) -> Self {
        self.separate();
        self.bytes.push(b'"');
        for byte in text.bytes() {
            if byte == b'"' {
                self.bytes.push(byte);
            }
            self.bytes.push(byte);
        }
        self.bytes.push(b'"');
        self
    }

    /// Adds a definite-length block (IEEE 488.2 clause 8.7.9).
    #[must_use]
    pub fn block(mut self, data: &[u8]) -> Self {
        self.separate();
        let length = data.len().to_string();
        assert!(
            length.len() <= 9,
            "a block's length has nine digits at most"
        );
        let head = format!("#{}{length}", length.len());
        self.bytes.extend_from_slice(head.as_bytes());
        self.bytes.extend_from_slice(data);
        self
    }

    /// The response's bytes.
    pub fn into_bytes(self) -> Vec<u8> {
        self.bytes
    }
}

/// `value` in the form NR3 (IEEE 488.2 clause 8.7.4); infinities and not a
/// number as SCPI-1999 writes them.
pub fn nr3(value: f64) -> String {
    if value.is_nan() {
        return "9.91E+37".to_owned();
    }
    if value.is_infinite() {
        return if value > 0.0 { "9.9E+37" } else { "-9.9E+37" }.to_owned();
    }
    let plain = format!("{value:E}");
    let (mantissa, exponent) = plain.split_once('E').unwrap_or((&plain, "0"));
    let point = if mantissa.contains('.') { "" } else { ".0" };
    let (sign, digits) = match exponent.strip_prefix('-') {
        Some(digits) => ('-', digits),
        None => ('+', exponent),
    };
    format!("{mantissa}{point}E{sign}{digits:0>2}")
}
