//! The visit sheet: everything one stop needs, for a first report and for a correction alike.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        html::Frame,
        photos::{PhotoView, view},
        water_view::{self, WaterView},
        words::{self, State},
    },
    typed::{Against, Read, Typed, Wrong},
};
use crate::{
    store::{
        amendments::Amendment,
        catalogue::{self, ChecklistItem, Treatments},
        customers::{self, Place},
        first_steps, photos,
        sessions::SignedIn,
        shelf,
        units::{self, Unit},
        water::{self, UnitWater, What},
    },
    units::{Ph, UnitsFirst, day_with_year, thousands},
    water::{BeforeTheTest, Counts, Method, Occasion, Renewed, Site, TestKit, WaterVolume, advise, ph_rule, renewed_rows, table},
};
use askama::Template;
use time::Date;
use uuid::Uuid;

/// Older photos that a stop's page names.
const PHOTOS: i64 = 4;

/// One step of the checklist with what was answered.
pub(super) struct ItemView {
    pub(super) item: ChecklistItem,
    pub(super) done: bool,
    pub(super) figure: String,
}

pub(super) struct JobView {
    pub(super) code: String,
    pub(super) name: String,
    pub(super) planned: bool,
    pub(super) ticked: bool,
    pub(super) tests: bool,
    pub(super) items: Vec<ItemView>,
}

/// One row of the dose table.
pub(super) struct RowView {
    pub(super) drops: String,
    pub(super) level: String,
    pub(super) state: State,
    pub(super) word: &'static str,
    pub(super) ml: i64,
    pub(super) amount: String,
    /// Which rows hold once a quarter, half, three quarters, all of the water is renewed.
    pub(super) renewed: String,
}

/// A stop's sheet, ready for the page.
#[derive(Template)]
#[template(path = "yard/sheet.html")]
pub(super) struct Sheet {
    pub(super) f: Frame,
    pub(super) title: String,
    pub(super) action: String,
    pub(super) not_done_action: String,
    pub(super) back: String,
    pub(super) form_id: Uuid,
    /// What the form is about: `visit`, `report` or `unit`, and its id.
    pub(super) about: (&'static str, Uuid),
    pub(super) correcting: bool,
    pub(super) when: String,
    pub(super) reason_planned: String,
    pub(super) fill: String,
    pub(super) u: Unit,
    pub(super) place: Place,
    pub(super) pin: String,
    pub(super) phone: String,
    pub(super) water: WaterView,
    pub(super) kit: Option<KitView>,
    pub(super) rows: Vec<RowView>,
    pub(super) table_note: Vec<String>,
    /// Outside of it nothing is put in: from, to, and what to say.
    pub(super) dose_ph: Option<(String, String, String)>,
    pub(super) cautions: Vec<String>,
    /// Whose doses are shown, and its number; when correcting, what was put in.
    pub(super) product: String,
    pub(super) product_id: String,
    pub(super) lots: Vec<shelf::LotLine>,
    /// What was put in came from a lot that is not on the shelf any more.
    pub(super) other_lot: bool,
    pub(super) jobs: Vec<JobView>,
    pub(super) typed: Typed,
    pub(super) wrong: Vec<Wrong>,
    /// Empty: the planned day, which lies ahead as yet.
    pub(super) usual_day: String,
    /// The water volume as the records have it, in mL.
    pub(super) volume_ml: String,
    /// The unit's newest photos, to look at with a signal.
    pub(super) photos: Vec<PhotoView>,
}

impl Sheet {
    /// What a field of the records says: as typed, else as the records have it.
    fn now(&self, field: &str, records: &str) -> String {
        self.typed.given(&format!("now.{field}")).unwrap_or(records).to_owned()
    }
}

pub(super) struct KitView {
    pub(super) code: String,
    pub(super) name: String,
    pub(super) counts_drops: bool,
    /// The day its reagent was good until, where that is over.
    pub(super) expired: String,
    /// The fields of a colour comparator.
    pub(super) steps: Vec<String>,
    /// The sample it takes, as "5 mL".
    pub(super) sample: String,
}

/// What the sheet is about.
pub(super) struct About {
    pub(super) unit_id: Uuid,
    pub(super) usual_day: Date,
    pub(super) correcting: bool,
}

/// Everything that was read for a sheet, before it is shown or a form is read against it.
pub(super) struct Loaded {
    pub(super) u: Unit,
    pub(super) water: UnitWater,
    pub(super) treatments: Treatments,
    pub(super) items: Vec<ChecklistItem>,
    pub(super) jobs: Vec<(String, bool)>,
    /// Jobs that are not offered any more; a phone may not have heard of that.
    gone: Vec<String>,
    names: Vec<(String, String)>,
    pub(super) about: (Date, bool),
    /// The owner has compared products, kits and programmes with the labels.
    compared: bool,
}

/// Shipped figures are generic.
const NOT_COMPARED: &str = "Nobody here has compared these figures with your product's label and your kit's sheet yet. Compare them before anything goes in, or ask the owner.";

pub(super) async fn load(app: &App, about: &About) -> Result<Loaded> {
    let mut c = app.pool.acquire().await?;
    let u = units::get(&mut *c, about.unit_id).await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let kinds = catalogue::all_jobs(&mut *c).await?;
    let water = water::unit_waters(&mut *c, &treatments, &[about.unit_id]).await?.remove(&about.unit_id).ok_or(Error::NotFound)?;
    let codes: Vec<String> = kinds.iter().map(|j| j.kind.code().to_owned()).collect();
    let mut items = catalogue::all_steps(&mut *c, &codes).await?;
    items.retain(|i| !i.only_fuel_moisture || u.ask_fuel_moisture);
    Ok(Loaded {
        jobs: kinds.iter().map(|j| (j.kind.code().to_owned(), j.tests_water)).collect(),
        gone: kinds.iter().filter(|j| j.retired).map(|j| j.kind.code().to_owned()).collect(),
        names: kinds.iter().map(|j| (j.kind.code().to_owned(), j.kind.name().to_owned())).collect(),
        about: (about.usual_day, about.correcting),
        compared: first_steps::compared_on(&mut *c).await?.is_some(),
        u,
        water,
        treatments,
        items,
    })
}

impl Loaded {
    pub(super) fn against(&self, today: Date, first: UnitsFirst) -> Against<'_> {
        Against {
            treatments: &self.treatments,
            programme: &self.water.programme,
            product: self.water.product.as_ref().map(|p| p.0),
            kit: self.water.kit.as_ref().map_or("", |k| k.code.as_str()),
            items: &self.items,
            jobs: &self.jobs,
            usual_day: self.about.0,
            today,
            correcting: self.about.1,
            first,
            volume: self.water.volume.map(WaterVolume::volume),
        }
    }

    /// The dose that the dose function gives for the inhibitor reading of a sheet, in mL: for the volume that was found at the
    /// unit, if one was, and for what the water came to where part of it was renewed after the test.
    pub(super) fn worked(&self, read: &Read) -> Option<i64> {
        let day = read.visited_on;
        let level = read.readings.iter().find_map(|r| r.programme_mg_l)?;
        let level = read.renewed.level(crate::units::MgPerLitre::new(level.into()).ok()?);
        let ph = read.readings.iter().find(|r| r.what == What::Ph).and_then(|r| Ph::new(r.value_milli / 10).ok());
        let reading = crate::water::Reading { level, ph, tested_on: day };
        let found = read.amendments.iter().find_map(|a| if let Amendment::Volume { now, .. } = a { Some(*now) } else { None });
        let site = self.water.site(Occasion::Scheduled, day)?;
        let advice = advise(&Site { volume: found.or(site.volume), ..site }, reading);
        Some(advice.dose().map_or(0, |d| d.amount.ml.get()))
    }

    /// The measuring step of the unit's product, in mL.
    pub(super) fn jug_step(&self) -> i64 {
        self.water.product.as_ref().map_or(0, |p| p.1.measure.step().get())
    }

    fn jobs(&self, typed: &Typed, planned: &[String], fresh: bool) -> Vec<JobView> {
        let view = |(code, name): &(String, String)| {
            let planned = planned.contains(code);
            let items = self.items.iter().filter(|i| i.job_code == *code && (!i.retired || typed.answers(&i.code))).map(|i| ItemView {
                done: typed.has("done", &i.code),
                figure: typed.get(&format!("figure.{}", i.code)).to_owned(),
                item: i.clone(),
            });
            JobView {
                ticked: if fresh { planned } else { typed.has("job", code) },
                tests: self.jobs.iter().any(|j| j.0 == *code && j.1),
                code: code.clone(),
                name: name.clone(),
                planned,
                items: items.collect(),
            }
        };
        let shown = |code: &String| !self.gone.contains(code) || planned.contains(code) || typed.has("job", code);
        let mut jobs: Vec<JobView> = self.names.iter().filter(|(code, _)| shown(code)).map(view).collect();
        jobs.sort_by_key(|j| !j.planned);
        jobs
    }
}

/// The dose table: the dose function's own answer for every count of drops.
fn rows(loaded: &Loaded, kit: Option<&TestKit>, who: &SignedIn) -> Vec<RowView> {
    let day = who.dealer.today;
    let (Some(site), Some(kit)) = (loaded.water.site(Occasion::Scheduled, day), kit) else { return Vec::new() };
    let made = table(&site, kit, day).unwrap_or_default();
    let renewed = renewed_rows(&made);
    let typed: Vec<String> = made.iter().map(|r| r.shown.typed()).collect();
    made.into_iter()
        .zip(renewed)
        .map(|(r, to)| RowView {
            renewed: to.map(|n| typed[n].as_str()).join(" · "),
            drops: r.shown.typed(),
            level: thousands(r.level.get()),
            state: words::verdict(r.verdict),
            word: r.word,
            ml: r.dose.map_or(0, |d| d.ml.get()),
            amount: r.dose.map(|d| d.text(who.dealer.units)).unwrap_or_default(),
        })
        .collect()
}

fn kit_view(kit: &TestKit, treatments: &Treatments, today: Date) -> KitView {
    let row = treatments.kits.iter().find(|row| row.kit.code == kit.code);
    let expired = row.and_then(|row| row.reagent_expires_on).filter(|day| *day < today);
    KitView {
        code: kit.code.clone(),
        name: kit.name.clone(),
        counts_drops: matches!(kit.counts, Counts::Drops { .. }),
        expired: expired.map(day_with_year).unwrap_or_default(),
        sample: row.and_then(|row| row.sample_ul).map(|ul| format!("{} mL", f64::from(ul) / 1000.0)).unwrap_or_default(),
        steps: kit.steps.iter().map(|step| step.get().to_string()).collect(),
    }
}

/// How a sheet is dressed.
pub(super) struct Dress {
    pub(super) title: String,
    pub(super) action: String,
    pub(super) not_done_action: String,
    pub(super) back: String,
    pub(super) when: String,
    pub(super) reason_planned: String,
    /// Where the first fill is kept; empty when none is planned.
    pub(super) fill: String,
    pub(super) form_id: Uuid,
    /// `visit`, `report` or `unit`, and its id.
    pub(super) about: (&'static str, Uuid),
    /// The day is not known yet while the page is made: the day before, or for a unit that nobody planned.
    pub(super) day_ahead: bool,
}

/// The sheet as a page.
pub(super) async fn sheet(
    app: &App,
    who: &SignedIn,
    mut loaded: Loaded,
    planned: &[String],
    dress: Dress,
    typed: Typed,
    wrong: Vec<Wrong>,
) -> Result<Sheet> {
    let mut c = app.pool.acquire().await?;
    let place = customers::place(&mut *c, loaded.u.place_id).await?;
    let customer = customers::get(&mut *c, loaded.u.customer_id).await?;
    let water = water_view::load(&mut c, &loaded.treatments, loaded.u.id, &who.dealer, 6).await?;
    // When correcting, what was put in then is what its doses are shown of.
    if loaded.about.1
        && let Some(given) = typed.get("product").parse().ok().and_then(|id| loaded.treatments.product(id))
    {
        loaded.water.product = Some((given.id, given.product.clone()));
    }
    let product = loaded.water.product.as_ref();
    let lots: Vec<shelf::LotLine> =
        shelf::lots(&mut *c).await?.into_iter().filter(|l| product.is_some_and(|p| p.0 == l.product_id)).collect();
    let lot = typed.get("lot").parse::<Uuid>().ok();
    let kit = match typed.get("kit") {
        "" => loaded.water.kit.as_ref(),
        code => loaded.treatments.kit(code).or(loaded.water.kit.as_ref()),
    };
    let BeforeTheTest { mut cautions, held } = loaded.water.before_the_test(who.dealer.today);
    if !loaded.compared {
        cautions.insert(0, NOT_COMPARED.to_owned());
    }
    let fresh = typed.0.is_empty();
    Ok(Sheet {
        f: Frame::of(who, "route"),
        title: dress.title,
        action: dress.action,
        not_done_action: dress.not_done_action,
        back: dress.back,
        form_id: dress.form_id,
        about: dress.about,
        correcting: loaded.about.1,
        when: dress.when,
        reason_planned: dress.reason_planned,
        fill: dress.fill,
        pin: place.pin.map(|(a, b)| format!("{a:.5},{b:.5}")).unwrap_or_default(),
        place,
        phone: customer.phone,
        water,
        kit: kit.map(|k| kit_view(k, &loaded.treatments, who.dealer.today)),
        rows: rows(&loaded, kit, who),
        table_note: held,
        dose_ph: loaded.water.programme.dose_ph.map(|band| (band.min().to_string(), band.max().to_string(), ph_rule(band))),
        cautions,
        product: product.map(|p| p.1.name.clone()).unwrap_or_default(),
        product_id: product.map(|p| p.0.to_string()).unwrap_or_default(),
        other_lot: lot.is_some_and(|lot| lots.iter().all(|l| l.id != lot)),
        lots,
        jobs: loaded.jobs(&typed, planned, fresh),
        usual_day: if dress.day_ahead { String::new() } else { loaded.about.0.to_string() },
        volume_ml: loaded.water.volume.map(|v| v.volume().get().to_string()).unwrap_or_default(),
        photos: photos::of_unit(&mut *c, loaded.u.id, PHOTOS).await?.into_iter().map(view).collect(),
        u: loaded.u,
        typed,
        wrong,
    })
}
