//! Records of text as RFC 4180 has them, written and read. Knows nothing of what the fields mean.

use csv_core::{QuoteStyle, ReadRecordResult, Reader, Terminator, WriterBuilder};

/// One record without its line end, quoted where that is needed.
pub fn record<S: AsRef<str>>(fields: &[S]) -> String {
    let fields: Vec<String> = fields.iter().map(|f| written(f.as_ref())).collect();
    match &fields[..] {
        // An empty line is no record.
        [one] if one.is_empty() => "\"\"".into(),
        _ => fields.join(","),
    }
}

fn written(field: &str) -> String {
    if field.is_empty() {
        return String::new();
    }
    // Spaces at either end belong to a field, and not every reader knows that without quotes.
    let style = match field.trim() == field {
        true => QuoteStyle::Necessary,
        false => QuoteStyle::Always,
    };
    let mut writer = WriterBuilder::new()
        .quote_style(style)
        .terminator(Terminator::CRLF)
        .build();
    // Every byte a quotation mark, and one at either end: the most that it can become.
    let mut out = vec![0; 2 * field.len() + 2];
    let (_, _, length) = writer.field(field.as_bytes(), &mut out);
    let (_, end) = writer.finish(&mut out[length..]);
    out.truncate(length + end);
    String::from_utf8_lossy(&out).into_owned()
}

/// All records, empty lines passed by; `None` where a quotation does not end or the text is no UTF-8.
pub fn records(bytes: &[u8]) -> Option<Vec<Vec<String>>> {
    let ended = [bytes, b"\n"].concat();
    let commas = memchr::memchr_iter(b',', bytes).count();
    let (mut out, mut ends) = (vec![0; ended.len()], vec![0; commas + 2]);
    let mut reader = Reader::new();
    let (mut input, mut all) = (&ended[..], Vec::new());
    while !input.is_empty() {
        let (result, read, length, count) = reader.read_record(input, &mut out, &mut ends);
        input = &input[read..];
        match result {
            ReadRecordResult::Record => all.push(split(&out, &ends[..count])?),
            ReadRecordResult::InputEmpty if length == 0 && count == 0 => {}
            ReadRecordResult::End => break,
            _ => return None,
        }
    }
    Some(all)
}

fn split(text: &[u8], ends: &[usize]) -> Option<Vec<String>> {
    let mut start = 0;
    let field = |end: &usize| {
        let bytes = text[start..*end].to_vec();
        start = *end;
        String::from_utf8(bytes).ok()
    };
    ends.iter().map(field).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_quoted_only_where_it_has_to_be() {
        assert_eq!(record(&["a", "", "b c"]), "a,,b c");
        assert_eq!(
            record(&["a,b", "say \"a\"", " c"]),
            "\"a,b\",\"say \"\"a\"\"\",\" c\""
        );
        assert_eq!(record(&["two\nlines", "a\rb"]), "\"two\nlines\",\"a\rb\"");
        assert_eq!(record(&[""]), "\"\"");
    }

    proptest::proptest! {
        #[test]
        fn whatever_is_written_comes_back(all in proptest::collection::vec(proptest::collection::vec(".*|[\",\r\n' ]*", 1..5), 0..5)) {
            for end in ["\n", "\r\n"] {
                let text: String = all.iter().map(|fields| record(fields) + end).collect();
                proptest::prop_assert_eq!(records(text.as_bytes()), Some(all.clone()));
            }
        }
    }

    #[test]
    fn a_quotation_without_an_end_and_bytes_that_are_no_text_are_no_records() {
        assert_eq!(records(b"a,\"b"), None);
        assert_eq!(records(b"a,\xff\n"), None);
        assert_eq!(records(b""), Some(vec![]));
        assert_eq!(records(b"\r\n\r\na\r\n"), Some(vec![vec!["a".to_owned()]]));
    }
}
