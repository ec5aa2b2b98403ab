//! Five seasons of visits: what was tested, what was put in, how the water lost it again.

use super::{
    Seasons,
    chance::{self, Chance},
    people::{Habit, People},
};
use crate::{
    season::SeasonName,
    store::{
        catalogue::Treatments,
        lists::{DoseRow, ReportRow, TestRow, UnitRow},
        water::{NewReading, What, ready_product},
    },
    units::{MgPerLitre, Millilitres, Ph},
    water::{Counts, Method, Occasion, Product, Programme, Reading, Shown, Site, TestKit, WaterFacts, WaterVolume, advise, level_after},
};
use time::{Date, Duration};
use uuid::Uuid;

#[derive(Debug, Default)]
pub(crate) struct Years {
    pub(crate) reports: Vec<ReportRow>,
    pub(crate) tests: Vec<TestRow>,
    pub(crate) doses: Vec<DoseRow>,
    /// Unit, day, and what its make-up meter showed in mL.
    pub(crate) meters: Vec<(Uuid, Date, i64)>,
}

/// What stays the same over a unit's years.
struct Life<'a> {
    unit: &'a UnitRow,
    habit: Habit,
    programme: &'a Programme,
    product_id: Uuid,
    product: Product,
    kit: &'a TestKit,
    volume: Option<WaterVolume>,
    /// Share of the inhibitor lost a day.
    loss: f64,
    ph: f64,
}

pub(crate) fn live(
    c: &mut Chance,
    people: &People,
    known: &Treatments,
    seasons: &Seasons,
    today: Date,
    technicians: &[Uuid],
    lots: &[(Uuid, Uuid)],
) -> Years {
    let mut years = Years::default();
    let past = seasons.before(today, 5);
    let current = seasons.now(today);
    for (n, unit) in people.units.iter().enumerate() {
        let Some(life) = Life::of(c, people, known, n) else { continue };
        years.add_fill_test(c, people, n);
        let mut level = life.programme.levels.target().as_f64() * c.between(0.9, 1.1);
        let mut from = unit.installed_on.unwrap_or(today).max(past.first().map_or(today, |s| s.1.0) - Duration::days(120));
        let mut meter = (n % 4 == 0).then(|| c.between(10_000.0, 400_000.0));
        let visits = past.iter().map(|s| (*s, false)).chain(current.map(|s| (s, true)));
        for (season, now) in visits {
            let Some(day) = visit_day(c, &life, season.1, now, today).filter(|d| *d > from) else { continue };
            years.read_meter(&life, &mut meter, (from, day));
            level *= (-life.loss * days(day, from)).exp();
            level = years.visit(c, &life, season.0, day, level, technicians, lots);
            from = day;
        }
    }
    years
}

fn days(to: Date, from: Date) -> f64 {
    f64::from(i32::try_from((to - from).whole_days()).unwrap_or(0).max(0))
}

/// When in a season the unit was visited, if it was. Of the present season, somewhat less than half is done.
fn visit_day(c: &mut Chance, life: &Life<'_>, (opens, closes): (Date, Date), now: bool, today: Date) -> Option<Date> {
    let length = (closes - opens).whole_days();
    let day = opens + Duration::days(c.days(0, length));
    let skipped = match life.habit {
        Habit::Neglected => (today - opens).whole_days() < 640 || c.happens(0.3),
        Habit::Steady | Habit::Leaking => c.happens(0.06),
    };
    (!skipped && (!now || day < today - Duration::days(1))).then_some(day)
}

impl<'a> Life<'a> {
    fn of(c: &mut Chance, people: &'a People, known: &'a Treatments, n: usize) -> Option<Self> {
        let unit = &people.units[n];
        let programme = known.programme(&unit.programme_code)?;
        let (product_id, product) = ready_product(known, None, &programme.code)?;
        let kit = unit.kit_code.as_deref().and_then(|k| known.kit(k)).or_else(|| known.usual_kit(programme))?;
        let habit = people.habits[n];
        let row = people.volumes.iter().find(|v| v.unit_id == unit.id);
        let volume = row.and_then(|v| {
            let method: Method = v.method.parse().ok()?;
            WaterVolume::new(Millilitres::new(v.volume_ml).ok()?, Millilitres::new(v.plus_minus_ml).ok()?, method).ok()
        });
        let loss = match habit {
            Habit::Leaking => c.between(0.004, 0.008),
            Habit::Neglected => c.between(0.001, 0.002),
            Habit::Steady => c.between(0.0004, 0.0018),
        };
        let ph = if unit.aluminium { c.between(8.3, 8.8) } else { c.between(8.7, 9.3) };
        Some(Self { unit, habit, programme, product_id, product, kit, volume, loss, ph })
    }

    fn site(&self, day: Date) -> Site<'_> {
        let facts = WaterFacts { aluminium: self.unit.aluminium, ..WaterFacts::default() };
        Site { volume: self.volume, programme: self.programme, product: &self.product, facts, occasion: Occasion::Scheduled, day }
    }

    /// The reading that a technician would note for the true level.
    fn read(&self, c: &mut Chance, level: f64) -> Option<(NewReading, MgPerLitre)> {
        let seen = whole(level * (1.0 + c.spread() * 0.03))?;
        let in_kit = crate::water::convert(seen, self.programme.basis, self.kit.basis).ok()?;
        let shown = match self.kit.counts {
            Counts::Drops { per_drop, max_drops } => {
                let per = i64::from(per_drop.get());
                Shown::Drops(u16::try_from((in_kit.get() * 100 + per / 2) / per).ok()?.min(max_drops))
            }
            Counts::Direct { .. } => Shown::Value(in_kit),
        };
        let level = self.kit.measure(shown, self.programme.basis).ok()?.level;
        Some((NewReading::inhibitor(self.kit, shown, self.programme.basis).ok()?, level))
    }
}

fn whole(level: f64) -> Option<MgPerLitre> {
    #[expect(clippy::cast_possible_truncation, reason = "some thousand mg/L")]
    MgPerLitre::new(level.round().clamp(0.0, 100_000.0) as i64).ok()
}

impl Years {
    /// One visit: test, dose when the test asks for one. Returns the level afterwards.
    #[expect(clippy::too_many_arguments, reason = "one visit, told in full")]
    fn visit(
        &mut self,
        c: &mut Chance,
        life: &Life<'_>,
        season: SeasonName,
        day: Date,
        level: f64,
        technicians: &[Uuid],
        lots: &[(Uuid, Uuid)],
    ) -> f64 {
        let n = u64::try_from(self.reports.len()).unwrap_or(0);
        let report_id = chance::id(7, n);
        let jobs = match season {
            SeasonName::Fall => vec!["fall-start-up".to_owned(), "water-test".to_owned()],
            SeasonName::Spring => vec!["spring-shut-down".to_owned(), "water-test".to_owned(), "yearly-clean".to_owned()],
        };
        let staff_id = Some(*c.pick(technicians));
        self.reports.push(ReportRow { id: report_id, unit_id: life.unit.id, staff_id, visited_on: day, note: String::new(), jobs });
        let Some((reading, seen)) = life.read(c, level) else { return level };
        #[expect(clippy::cast_possible_truncation, reason = "a pH in tenths")]
        let ph = ((life.ph + c.spread() * 0.07) * 10.0).round() as i64;
        let readings = std::iter::once(reading).chain(Ph::new(ph * 10).ok().map(NewReading::ph)).collect();
        self.tests.push(TestRow {
            id: chance::id(8, n),
            unit_id: life.unit.id,
            taken_on: day,
            made_by: "technician",
            report_id: Some(report_id),
            fill_id: None,
            list_row: None,
            readings,
        });
        let site = life.site(day);
        let advice = advise(&site, Reading { level: seen, ph: None, tested_on: day });
        let Some(dose) = advice.dose() else { return level };
        let lot_id = lots.iter().find(|l| l.0 == life.product_id).map(|l| l.1);
        self.doses.push(DoseRow {
            unit_id: life.unit.id,
            given_on: day,
            product_id: life.product_id,
            lot_id,
            amount_ml: dose.amount.ml.get(),
            report_id: Some(report_id),
        });
        let before = whole(level).unwrap_or(seen);
        level_after(&site, before, dose.amount.ml).map_or(level, MgPerLitre::as_f64)
    }

    /// Every fourth unit has a make-up meter: what was lost comes in again, and a third more that went as vapour.
    #[expect(clippy::cast_possible_truncation, reason = "some ten thousand litres")]
    fn read_meter(&mut self, life: &Life<'_>, meter: &mut Option<f64>, (from, day): (Date, Date)) {
        let (Some(shown), Some(volume)) = (meter.as_mut(), life.volume) else { return };
        *shown += volume.volume().as_f64() * life.loss * days(day, from) * 1.33;
        self.meters.push((life.unit.id, day, shown.round() as i64));
    }

    /// The source water's test, where one was made.
    fn add_fill_test(&mut self, c: &mut Chance, people: &People, n: usize) {
        let fill = &people.fills[n];
        if !c.happens(0.6) {
            return;
        }
        // One fill in forty went in too hard: the dose function holds the dose there.
        let hard = n % 40 == 13;
        let hardness = if hard {
            c.days(260, 380)
        } else if fill.softened == Some(true) {
            c.days(2, 25)
        } else {
            c.days(20, 180)
        };
        let mg_l = |what, value| MgPerLitre::new(value).ok().map(|v| NewReading::mg_l(what, v));
        let readings = [
            Ph::new(c.days(66, 82) * 10).ok().map(NewReading::ph),
            mg_l(What::Hardness, hardness),
            mg_l(What::Chloride, c.days(3, 60)),
            mg_l(What::Sulfate, c.days(4, 70)),
        ];
        let readings = readings.into_iter().flatten().collect();
        let id = chance::id(10, u64::try_from(n).unwrap_or(0));
        self.tests.push(TestRow {
            id,
            unit_id: fill.unit_id,
            taken_on: fill.filled_on,
            made_by: "technician",
            report_id: None,
            fill_id: Some(fill.id),
            list_row: None,
            readings,
        });
    }
}
