//! What a phone kept, read on arrival. Every form version that was ever in use stays readable here; one that is not known
//! is left as its bytes.

use super::{super::form, typed::Typed};
use uuid::Uuid;

/// Which form was filled in. A version stays in this list for a year at least after its last use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// The visit's own sheet: fields as on the page, with `visit`, or with `unit` where nobody planned it.
    Report,
    /// It could not be done: `visit`, `why`, `note`.
    NotDone,
    /// A fill with its source water and first charge: `visit` and the fields of the fill's page.
    Fill,
    /// A visit to a unit that was not found: whatever was written down.
    WrittenDown,
    /// A correction of a report: the sheet's fields, with `report`, `version` and `reason`.
    Correct,
}

impl Form {
    fn parse(text: &str) -> Option<Self> {
        match text {
            "report/1" => Some(Self::Report),
            "not-done/1" => Some(Self::NotDone),
            "fill/1" => Some(Self::Fill),
            "written-down/1" => Some(Self::WrittenDown),
            "correct/1" => Some(Self::Correct),
            _ => None,
        }
    }
}

/// A kept item whose form is known.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) form: Form,
    pub(super) typed: Typed,
    pub(super) visit: Option<Uuid>,
    /// Of a visit that nobody planned.
    pub(super) unit: Option<Uuid>,
    pub(super) report: Option<Uuid>,
    /// The item that this one puts right: that one waits for the office, this one may be worked in.
    pub(super) instead: Option<Uuid>,
}

/// Reads the bytes of an item; else why the office has to look at it, in words.
pub(super) fn read(body: &[u8]) -> Result<Item, String> {
    let pairs: Vec<(String, String)> = form::read(body).map_err(|e| format!("These bytes are no form ({e})."))?;
    let typed = Typed(pairs);
    let name = typed.get("form");
    let Some(form) = Form::parse(name) else {
        let name: String = name.chars().take(40).collect();
        return Err(format!(
            "This office does not know the form “{name}”. Its phone may run a newer program: update this one, then read it below."
        ));
    };
    let id = |field: &str| typed.get(field).parse().ok();
    Ok(Item { form, visit: id("visit"), unit: id("unit"), report: id("report"), instead: id("instead"), typed: typed.clone() })
}

/// What an item is called in the records: its form as it names itself, if it does.
pub(super) fn kind(body: &[u8]) -> String {
    let pairs: Vec<(String, String)> = form::read(body).unwrap_or_default();
    let form: String = Typed(pairs).get("form").chars().filter(|c| !c.is_control()).take(32).collect();
    if form.is_empty() { "kept".to_owned() } else { format!("kept {form}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_that_were_ever_in_use_are_known() {
        for form in ["report/1", "not-done/1", "fill/1", "written-down/1", "correct/1"] {
            assert!(read(format!("form={form}").as_bytes()).is_ok(), "{form}");
        }
        let unknown = read(b"form=report/99&drops=8").unwrap_err();
        assert!(unknown.contains("report/99"), "{unknown}");
        assert_eq!(kind(b"form=report/99&drops=8"), "kept report/99");
    }

    #[test]
    fn any_bytes_have_a_kind_and_an_answer() {
        for bytes in [&b""[..], b"\xff\xfe\x00", b"&&&===", b"form=%00%FF", b"{\"json\":1}"] {
            assert!(read(bytes).is_err());
            assert!((1..=40).contains(&kind(bytes).chars().count()));
        }
    }
}
