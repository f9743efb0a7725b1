//! Sparkplug B payloads: the messages of the open standard's `sparkplug_b.proto` that are needed, field numbers and types
//! as it has them.

use prost::Message;

/// A message's body.
#[derive(Clone, PartialEq, Message)]
pub struct Payload {
    /// When it was sent, ms since 1970, UTC.
    #[prost(uint64, optional, tag = "1")]
    pub timestamp: Option<u64>,
    /// Values.
    #[prost(message, repeated, tag = "2")]
    pub metrics: Vec<Metric>,
    /// Counts the messages of a node from its birth on, 0 to 255 and round again; none on a death.
    #[prost(uint64, optional, tag = "3")]
    pub seq: Option<u64>,
}

/// One value.
#[derive(Clone, PartialEq, Message)]
pub struct Metric {
    /// Name.
    #[prost(string, optional, tag = "1")]
    pub name: Option<String>,
    /// When it was so, ms since 1970, UTC.
    #[prost(uint64, optional, tag = "3")]
    pub timestamp: Option<u64>,
    /// Number of its type.
    #[prost(uint32, optional, tag = "4")]
    pub datatype: Option<u32>,
    /// Sent late: it is not what is so now.
    #[prost(bool, optional, tag = "5")]
    pub is_historical: Option<bool>,
    /// There is no value.
    #[prost(bool, optional, tag = "7")]
    pub is_null: Option<bool>,
    /// The value.
    #[prost(oneof = "Value", tags = "10, 11, 13, 14, 15")]
    pub value: Option<Value>,
}

/// A metric's value.
#[derive(Clone, PartialEq, prost::Oneof)]
pub enum Value {
    /// Whole number of up to 32 bits.
    #[prost(uint32, tag = "10")]
    Int(u32),
    /// Whole number of 64 bits.
    #[prost(uint64, tag = "11")]
    Long(u64),
    /// Number.
    #[prost(double, tag = "13")]
    Double(f64),
    /// Yes or no.
    #[prost(bool, tag = "14")]
    Boolean(bool),
    /// Text.
    #[prost(string, tag = "15")]
    Text(String),
}

/// Numbers of the standard's data types that are used.
mod datatype {
    pub(super) const INT64: u32 = 4;
    pub(super) const UINT64: u32 = 8;
    pub(super) const DOUBLE: u32 = 10;
    pub(super) const BOOLEAN: u32 = 11;
    pub(super) const STRING: u32 = 12;
}

impl Metric {
    fn new(name: &str, datatype: u32, value: Option<Value>) -> Self {
        let is_null = value.is_none().then_some(true);
        Self { name: Some(name.to_owned()), datatype: Some(datatype), is_null, value, ..Self::default() }
    }

    /// A whole number from 0 on.
    #[must_use]
    pub fn whole(name: &str, value: u64) -> Self {
        Self::new(name, datatype::UINT64, Some(Value::Long(value)))
    }

    /// The number that ties a node's death to its birth; the standard wants it signed.
    #[must_use]
    pub fn bd_seq(value: u64) -> Self {
        Self::new("bdSeq", datatype::INT64, Some(Value::Long(value)))
    }

    /// A number; null where there is none.
    #[must_use]
    pub fn number(name: &str, value: Option<f64>) -> Self {
        let value = value.filter(|value| value.is_finite());
        Self::new(name, datatype::DOUBLE, value.map(Value::Double))
    }

    /// Yes or no.
    #[must_use]
    pub fn flag(name: &str, value: bool) -> Self {
        Self::new(name, datatype::BOOLEAN, Some(Value::Boolean(value)))
    }

    /// A text; null where there is none.
    #[must_use]
    pub fn text(name: &str, value: Option<&str>) -> Self {
        Self::new(name, datatype::STRING, value.map(|value| Value::Text(value.to_owned())))
    }

    /// The same as of a time.
    #[must_use]
    pub fn at(mut self, at_ms: i64, is_historical: bool) -> Self {
        self.timestamp = u64::try_from(at_ms).ok();
        self.is_historical = is_historical.then_some(true);
        self
    }
}

/// Whether a command asks the node to say again what there is.
#[must_use]
pub fn asks_rebirth(command: &[u8]) -> bool {
    let Ok(payload) = Payload::decode(command) else { return false };
    payload.metrics.iter().any(|metric| {
        metric.name.as_deref() == Some(super::REBIRTH) && metric.value == Some(Value::Boolean(true))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_those_of_the_standard_s_field_numbers() {
        let metric = Metric::number("a", Some(1.0)).at(5, true);
        let payload = Payload { timestamp: Some(7), metrics: vec![metric], seq: Some(2) };
        // By hand: tag = field · 8 + wire type (0 varint, 1 eight bytes, 2 length-delimited).
        let double = [0x69, 0, 0, 0, 0, 0, 0, 0xf0, 0x3f];
        let inner = [&[0x0a, 1, b'a', 0x18, 5, 0x20, 10, 0x28, 1][..], &double].concat();
        let outer = [&[0x08, 7, 0x12, inner.len() as u8][..], &inner, &[0x18, 2]].concat();
        assert_eq!(payload.encode_to_vec(), outer);
    }

    #[test]
    fn a_missing_value_is_null_and_a_number_that_is_none_too() {
        for metric in
            [Metric::number("a", None), Metric::number("a", Some(f64::NAN)), Metric::text("a", None)]
        {
            assert_eq!((metric.is_null, metric.value), (Some(true), None));
        }
    }

    #[test]
    fn only_a_true_rebirth_is_one_and_any_bytes_may_come() {
        let asks = |metric| {
            let payload = Payload { metrics: vec![metric], ..Payload::default() };
            asks_rebirth(&payload.encode_to_vec())
        };
        assert!(asks(Metric::flag(super::super::REBIRTH, true)));
        assert!(!asks(Metric::flag(super::super::REBIRTH, false)));
        assert!(!asks(Metric::flag("Node Control/Reboot", true)));
        assert!(!asks(Metric::text(super::super::REBIRTH, Some("true"))));
        for bytes in [&b""[..], b"\xff\xff\xff\xff\xff", b"{\"metrics\":1}", &[0x12; 4000]] {
            assert!(!asks_rebirth(bytes));
        }
    }
}
