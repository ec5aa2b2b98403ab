//! What was typed on a visit sheet, read with care: nothing typed is lost when something is wrong.

use super::{
    super::{error::Error, water_view},
    amended,
};
use crate::{
    store::{
        amendments::Amendment,
        catalogue::{ChecklistItem, Treatments},
        reports::{Answer, DoseGiven, WaterEvent},
        water::{Event, NewReading},
    },
    units::{Millilitres, UnitsFirst, VolumeUnit, parse_date, parse_ph, parse_volume},
    water::{Programme, Renewed},
};
use time::{Date, OffsetDateTime, format_description::well_known::Rfc3339};
use uuid::Uuid;

/// The pairs of a form, in the order they came.
#[derive(Clone, Debug, Default)]
pub(super) struct Typed(pub(super) Vec<(String, String)>);

impl Typed {
    pub(super) fn get(&self, name: &str) -> &str {
        self.0.iter().find(|(k, _)| k == name).map_or("", |(_, v)| v.trim())
    }
    /// The field as it came, if it came at all.
    pub(super) fn given(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(k, _)| k == name).map(|(_, v)| v.as_str())
    }
    pub(super) fn all(&self, name: &str) -> Vec<String> {
        self.0.iter().filter(|(k, _)| k == name).map(|(_, v)| v.clone()).collect()
    }
    pub(super) fn has(&self, name: &str, value: &str) -> bool {
        self.0.iter().any(|(k, v)| k == name && v == value)
    }
    /// Whether a step of the checklist is ticked, or a figure given for it.
    pub(super) fn answers(&self, step: &str) -> bool {
        self.has("done", step) || !self.get(&format!("figure.{step}")).is_empty()
    }
}

/// One thing that is wrong, and the field it is wrong in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) field: &'static str,
    pub(super) says: String,
}

/// A sheet that can be kept.
#[derive(Debug)]
pub(super) struct Read {
    pub(super) visited_on: Date,
    pub(super) jobs: Vec<String>,
    pub(super) answers: Vec<Answer>,
    pub(super) readings: Vec<NewReading>,
    pub(super) dose: Option<DoseGiven>,
    pub(super) events: Vec<WaterEvent>,
    /// Of the water, after the test.
    pub(super) renewed: Renewed,
    pub(super) amendments: Vec<Amendment>,
    pub(super) who: String,
    pub(super) note: String,
    pub(super) dose_shown_ml: Option<i64>,
    pub(super) reason: String,
    /// By the phone: when the technician said "I am here", and when the sheet was kept.
    pub(super) arrived_at: Option<OffsetDateTime>,
    pub(super) kept_at: Option<OffsetDateTime>,
}

/// A time that the phone wrote down; nothing else is asked about it.
pub(super) fn instant(text: &str) -> Option<OffsetDateTime> {
    let year = |t: &OffsetDateTime| (2000..2200).contains(&t.year());
    OffsetDateTime::parse(text, &Rfc3339).ok().filter(year)
}

/// What a sheet is read against.
pub(super) struct Against<'a> {
    pub(super) treatments: &'a Treatments,
    pub(super) programme: &'a Programme,
    pub(super) product: Option<Uuid>,
    /// The unit's own kit, for a sheet that names none.
    pub(super) kit: &'a str,
    pub(super) items: &'a [ChecklistItem],
    /// Jobs of the book with whether each tests the water.
    pub(super) jobs: &'a [(String, bool)],
    pub(super) usual_day: Date,
    pub(super) today: Date,
    pub(super) correcting: bool,
    pub(super) first: UnitsFirst,
    /// What the unit and its loop hold.
    pub(super) volume: Option<Millilitres>,
}

/// Reads a sheet: everything that is wrong at once, or something that can be kept.
pub(super) fn read(typed: &Typed, against: &Against<'_>) -> Result<Read, Vec<Wrong>> {
    let mut wrong = Vec::new();
    let jobs: Vec<String> = typed.all("job").into_iter().filter(|j| against.jobs.iter().any(|k| k.0 == *j)).collect();
    if jobs.is_empty() {
        wrong.push(Wrong { field: "jobs", says: "Tick the jobs that were done. If none was, use “Could not do it”.".to_owned() });
    }
    let visited_on = note(&mut wrong, "visited_on", visited_on(typed, against)).unwrap_or(against.usual_day);
    let readings = readings(typed, against, &jobs, &mut wrong);
    let dose = note(&mut wrong, "put_in", dose(typed, against)).flatten();
    let renewed = Renewed::parse(typed.get("renewed"));
    let events = events(typed, against, renewed, &mut wrong);
    let amendments = amended::read(typed, against.first, &mut wrong);
    let answers = answers(typed, against, &jobs, &mut wrong);
    let reason = typed.get("reason").chars().take(400).collect::<String>();
    if against.correcting && reason.is_empty() {
        wrong.push(Wrong { field: "reason", says: "Say in a few words why this is corrected.".to_owned() });
    }
    if !wrong.is_empty() {
        return Err(wrong);
    }
    let dose_shown_ml = typed.get("dose_shown_ml").parse().ok().filter(|ml| (0..=1_000_000).contains(ml));
    let who = typed.get("who_was_there").chars().take(120).collect();
    Ok(Read {
        visited_on,
        jobs,
        answers,
        readings,
        dose,
        events,
        renewed,
        amendments,
        who,
        note: typed.get("note").chars().take(4000).collect(),
        dose_shown_ml,
        reason,
        arrived_at: instant(typed.get("arrived_at")),
        kept_at: instant(typed.get("made_at")),
    })
}

fn note<T>(wrong: &mut Vec<Wrong>, field: &'static str, read: Result<T, String>) -> Option<T> {
    read.map_err(|says| wrong.push(Wrong { field, says })).ok()
}

fn visited_on(typed: &Typed, against: &Against<'_>) -> Result<Date, String> {
    let text = typed.get("visited_on");
    if text.is_empty() {
        return Ok(against.usual_day);
    }
    let day = parse_date(text).map_err(|e| e.to_string())?;
    if day > against.today { Err("The day of the visit lies ahead. Check the date.".to_owned()) } else { Ok(day) }
}

fn readings(typed: &Typed, against: &Against<'_>, jobs: &[String], wrong: &mut Vec<Wrong>) -> Vec<NewReading> {
    let mut readings = Vec::new();
    let tests = jobs.iter().any(|j| against.jobs.iter().any(|(code, tests)| code == j && *tests));
    let drops = typed.get("drops");
    if !drops.is_empty() {
        let says = |e| if let Error::Bad(says) = e { says } else { "The reading cannot be read.".to_owned() };
        let kit = Some(typed.get("kit")).filter(|k| !k.is_empty()).unwrap_or(against.kit);
        let read = water_view::inhibitor(against.treatments, against.programme, kit, drops).map_err(says);
        readings.extend(note(wrong, "drops", read));
    } else if tests {
        wrong.push(Wrong {
            field: "drops",
            says: "Count the drops: these jobs include a water test. If it could not be tested, untick them.".to_owned(),
        });
    }
    let ph = typed.get("ph");
    if !ph.is_empty() {
        readings.extend(note(wrong, "ph", parse_ph(ph).map_err(|e| e.to_string())).map(NewReading::ph));
    }
    readings
}

fn dose(typed: &Typed, against: &Against<'_>) -> Result<Option<DoseGiven>, String> {
    let text = typed.get("put_in");
    if text.is_empty() || text == "0" {
        return Ok(None);
    }
    let (ml, _) = parse_volume(text, VolumeUnit::Millilitre).map_err(|e| e.to_string())?;
    // The one that the sheet was made for: a packed sheet may be older than a change of the usual product.
    let shown = typed.get("product").parse().ok().filter(|id| against.treatments.product(*id).is_some());
    let product_id = shown.or(against.product).ok_or("No product is kept for this programme. Say in the note what was put in.")?;
    match ml.get() {
        0 => Ok(None),
        amount_ml @ 1..=1_000_000 => Ok(Some(DoseGiven { product_id, lot_id: typed.get("lot").parse().ok(), amount_ml })),
        _ => Err("More than 1,000 L in one dose? Check the unit.".to_owned()),
    }
}

/// What the make-up meter shows, and what was let out: as it was typed, else the share that was renewed.
fn events(typed: &Typed, against: &Against<'_>, renewed: Renewed, wrong: &mut Vec<Wrong>) -> Vec<WaterEvent> {
    let usual = if against.first == UnitsFirst::Metric { VolumeUnit::Litre } else { VolumeUnit::UsGallon };
    let mut found = Vec::new();
    for (field, what) in [("meter", Event::Meter), ("drained", Event::Drained)] {
        let text = typed.get(field);
        if text.is_empty() {
            continue;
        }
        if let Some((ml, _)) = note(wrong, field, parse_volume(text, usual).map_err(|e| e.to_string())) {
            let where_to = if what == Event::Drained { typed.get("drained_to").chars().take(200).collect() } else { String::new() };
            found.push(WaterEvent { what, amount_ml: ml.get(), where_to });
        }
    }
    if let Some(volume) = against.volume.filter(|_| renewed != Renewed::None && typed.get("drained").is_empty()) {
        let amount_ml = volume.get() * i64::from(renewed.quarters()) / 4;
        found.push(WaterEvent { what: Event::Drained, amount_ml, where_to: typed.get("drained_to").chars().take(200).collect() });
    }
    if let Some(drained) = found.iter().find(|e| e.what == Event::Drained && e.amount_ml > 0 && e.where_to.is_empty()) {
        let says = format!("Say where the {} mL went: drained water holds treatment.", drained.amount_ml);
        wrong.push(Wrong { field: "drained_to", says });
    }
    found.retain(|e| e.what == Event::Meter || e.amount_ml > 0);
    found
}

/// Answers to the steps of the jobs that were done.
fn answers(typed: &Typed, against: &Against<'_>, jobs: &[String], wrong: &mut Vec<Wrong>) -> Vec<Answer> {
    let mut answers = Vec::new();
    // A step that is left out by now counts where it was answered: the phone had it still.
    for item in against.items.iter().filter(|i| jobs.contains(&i.job_code) && (!i.retired || typed.answers(&i.code))) {
        let text = typed.get(&format!("figure.{}", item.code)).replace(',', "");
        let figure = match text.trim_end_matches(|c: char| !c.is_ascii_digit()) {
            "" => None,
            digits => match digits.parse::<f64>() {
                Ok(value) if (-1000.0..=100_000.0).contains(&value) => Some(value),
                _ => {
                    wrong.push(Wrong {
                        field: "checklist",
                        says: format!("“{text}” is no figure for “{}”. Write digits, or leave it empty.", item.says),
                    });
                    None
                }
            },
        };
        answers.push(Answer { item_code: item.code.clone(), done: typed.has("done", &item.code) || figure.is_some(), figure });
    }
    answers
}
