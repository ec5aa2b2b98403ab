//! Fills, volumes, limits, histories: figures of published tables and of sums by hand, read off the pages.

use super::{
    path,
    support::{TestApp, dealership, profiles},
};
use embertide::{
    store::{
        catalogue,
        due::{self},
        units,
        water::{self, Event, Maker, NewEvent, NewReading, NewTest, What},
    },
    units::{MgPerLitre, Ph},
    water::Basis,
};
use time::{Date, macros::date};
use uuid::Uuid;

/// A hard limestone well: 352 mg/L, alkalinity 310.
const HARD: [(&str, &str); 7] = [
    ("ph", "7.3"),
    ("hardness", "352"),
    ("alkalinity", "310"),
    ("conductivity", "694"),
    ("chloride", "20"),
    ("sulfate", "45"),
    ("iron", "0.1"),
];

fn with<'a>(more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut all = HARD.to_vec();
    all.retain(|(name, _)| more.iter().all(|m| m.0 != *name));
    all.extend_from_slice(more);
    all
}

#[tokio::test]
async fn the_limits_that_are_shipped_are_those_that_the_water_room_is_tested_with() {
    let t = TestApp::start().await;
    let kept = catalogue::profiles(&mut t.pool().acquire().await.unwrap()).await.unwrap();
    let kept: Vec<_> = kept.into_iter().map(|row| row.profile).collect();
    let shipped =
        [profiles::steel_vented_inhibited(), profiles::oenorm_2006_chloride(), profiles::drinking_water_frame()].map(Result::unwrap);
    assert_eq!(kept, shipped);
}

#[tokio::test]
async fn a_hard_fill_is_blocked_with_the_reason_and_softened_it_gets_its_charge() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let fill = format!("/units/{}/fill", d.units[0]);
    let hard = t.post(&d.office, &fill, &with(&[("act", "judge"), ("volume", "400 gal"), ("device", "intermediate_vent")])).await;
    assert_eq!(hard.status, 200);
    let text = hard.text("main");
    assert!(hard.text("output").starts_with("Soften it before filling"), "{}", hard.text("output"));
    // The programme's stop is 250 mg/L (UFC 3-240-13FN p. 150): no charge before softening.
    assert!(text.contains("First chargeHold") || text.contains("First charge Hold"), "{text}");
    assert!(text.contains("P2902.3.3") && text.contains("Soften first"), "{text}");
    let soft = t.post(&d.office, &fill, &with(&[("act", "judge"), ("volume", "400 gal"), ("softened", "5"), ("device", "air_gap")])).await;
    let text = soft.text("main");
    assert!(soft.text("output").starts_with("As softened: Usable"), "{}", soft.text("output"));
    // 400 gal to 1,000 mg/L as NO2 are 2,270.8 g of NaNO2 (5.006 lb), so 11,354 g of a 20 % product of 1.15 kg/L: 9,873 mL, by 50 mL 9,900 mL.
    assert!(text.contains("9,900 mL") || text.contains("9.9 L"), "{text}");
    assert!(!text.contains("P2902.3.3"));
    assert_eq!(units::fills(t.pool(), d.units[0]).await.unwrap().len(), 1, "judging keeps nothing");
}

#[tokio::test]
async fn a_kept_fill_is_the_units_water_from_then_on() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let sent = with(&[
        ("volume", "416 gal"),
        ("metered", "yes"),
        ("softened", "5"),
        ("device", "reduced_pressure"),
        ("filled_on", "2026-10-02"),
        ("source_water", "well"),
        ("put_in", "9900"),
    ]);
    let kept = t.post(&d.office, &format!("/units/{unit}/fill"), &sent).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let fills = units::fills(t.pool(), unit).await.unwrap();
    assert_eq!(
        (fills[0].filled_on, fills[0].softened, fills[0].fill_device.as_str()),
        (date!(2026 - 10 - 02), Some(true), "reduced_pressure")
    );
    assert_eq!(fills[1].drained_on, Some(date!(2026 - 10 - 02)), "the water before it is gone");
    assert!(fills[0].answer.starts_with("As softened: Usable") && fills[0].note.starts_with("Hardness before softening 352 mg/L"));
    let page = t.get(Some(&d.office), &format!("/units/{unit}")).await.text("main");
    assert!(page.contains("416 gal ± 8 (1,575 L), by water meter at filling"), "{page}");
    let mut c = t.pool().acquire().await.unwrap();
    let treatments = catalogue::treatments(&mut c).await.unwrap();
    let own = water::unit_waters(&mut *c, &treatments, &[unit]).await.unwrap().remove(&unit).unwrap();
    assert_eq!(own.facts.fill_hardness, Some(MgPerLitre::new(5).unwrap()), "the hardness at the hose goes on, not the well's");
    assert_eq!(own.facts.fill_chloride_sulfate, Some(MgPerLitre::new(65).unwrap()));
    let wrong = t.post(&d.office, &format!("/units/{unit}/fill"), &with(&[("fluid", "propylene glycol"), ("volume", "400 gal")])).await;
    assert!(wrong.status == 422 && wrong.text(".wrong").contains("how many % by volume"), "{}", wrong.text("main"));
    assert_eq!(units::fills(t.pool(), unit).await.unwrap().len(), 2, "nothing half-written");
}

#[tokio::test]
async fn a_technician_keeps_the_fill_at_the_unit_and_the_first_fill_is_no_longer_due() {
    let path::Stop { t, unit, visit, tech, .. } = path::at_a_stop().await;
    let page = t.get(Some(&tech), &format!("/stop/{visit}/fill")).await;
    assert!(page.status == 200 && page.text("main").contains("air gap before the hose is connected"), "{}", page.text("main"));
    let sent = with(&[("volume", "400 gal"), ("metered", "yes"), ("softened", "3")]);
    assert_eq!(t.post(&tech, &format!("/stop/{visit}/fill"), &sent).await.location, format!("/stop/{visit}"));
    let fills = units::fills(t.pool(), unit).await.unwrap();
    assert_eq!(fills[0].filled_on, super::support::NOW.date());
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_limit_of_the_dealers_own_decides_from_then_on() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let ask = "/answers/source-water?ph=7.4&hardness=120&alkalinity=45&conductivity=129&chloride=5&sulfate=10";
    assert!(t.get(Some(&d.office), ask).await.text("main").contains("Caution"));
    let own = [
        ("name", "Ours, 2026"),
        ("decides", "yes"),
        ("row_version", "1"),
        ("ok_to.hardness", "60"),
        ("caution_to.hardness", "110"),
        ("remedy.hardness", "soften"),
        ("why.hardness", "lime"),
        ("source.hardness", "common practice, no source"),
    ];
    let kept = t.post(&d.owner, "/treatments/fill-limits/steel-vented", &own).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let page = t.get(Some(&d.office), ask).await;
    assert!(
        page.text("output").starts_with("Soften it before filling") && page.text("main").contains("Ours, 2026"),
        "{}",
        page.text("main")
    );
    let clash = t.post(&d.owner, "/treatments/fill-limits/steel-vented", &own).await;
    assert_eq!(clash.status, 409, "made from an older page");
    let upside_down = [own.to_vec(), vec![("ok_to.hardness", "500")]].concat();
    let upside_down: Vec<_> = upside_down.into_iter().filter(|p| *p != ("ok_to.hardness", "60")).collect();
    let refused = t.post(&d.owner, "/treatments/fill-limits/steel-vented", &upside_down).await;
    assert!(refused.status == 422 && refused.text("main").contains("inside the caution range"), "{}", refused.text("main"));
    let copy = [own.to_vec(), vec![("act", "copy")]].concat();
    assert_eq!(t.post(&d.owner, "/treatments/fill-limits/steel-vented", &copy).await.status, 303);
    assert_eq!(catalogue::profiles(&mut t.pool().acquire().await.unwrap()).await.unwrap().len(), 4);
}

/// Heater 400 gal, 2 × 150 ft of 1 in PEX (9.10), 25 ft of 3/4 copper L (0.63), exchanger 0.4: 410.1 gal (computed from the
/// tubes' inside diameters).
#[tokio::test]
async fn the_parts_of_a_loop_add_up() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let page = format!("/units/{}/volume", d.units[2]);
    let parts = format!("/units/{}/parts", d.units[2]);
    let names = t.get(Some(&d.office), &page).await;
    let pipe = |name: &str| {
        let (at, _) = names.attrs("#pipe option", "value").into_iter().zip(names.texts("#pipe option")).find(|(_, n)| n == name).unwrap();
        at
    };
    let (pex, copper) = (pipe("PEX 1 in"), pipe("copper type L 3/4 in"));
    for form in [
        vec![("pipe", pex.as_str()), ("length", "150 ft"), ("both_ways", "yes")],
        vec![("pipe", copper.as_str()), ("length", "25 ft"), ("both_ways", "no")],
        vec![("kind", "exchanger"), ("volume", "0.4 gal"), ("label", "plate exchanger")],
    ] {
        let added = t.post(&d.office, &parts, &form).await;
        assert_eq!(added.status, 303, "{}", added.text("main"));
    }
    let text = t.get(Some(&d.office), &page).await.text("main");
    assert!(text.contains("410 gal ± 21 (1,552 L)"), "{text}");
    assert_eq!(t.post(&d.office, &format!("{parts}/keep"), &[]).await.status, 303);
    assert!(t.get(Some(&d.office), &page).await.text("output").starts_with("410 gal ± 21"), "kept");
}

/// 9,900 mL of 20 % `NaNO2` at 1.15 kg/L are 1,518.3 g of NO2; from 2 to 22 drops of 50 mg/L, 1,000 mg/L: 1,518 L.
#[tokio::test]
async fn the_charge_itself_gives_the_volume() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let page = format!("/units/{}/volume", d.units[1]);
    let kept = t.post(&d.office, &format!("{page}/by-charge"), &[("put_in", "9900"), ("before", "2"), ("after", "22")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    // ±: sd 29 and 33 mg/L over 1,000, and 2 % of measuring: 4.8 %, 19 gal.
    let now = t.get(Some(&d.office), &page).await.text("output");
    assert!(now.starts_with("401 gal ± 19 (1,518 L), from the rise of a measured dose"), "{now}");
    let too_small = t.post(&d.office, &format!("{page}/by-charge"), &[("put_in", "500"), ("before", "10"), ("after", "11")]).await;
    assert!(too_small.status == 422 && too_small.text("main").contains("not more than the error"), "{}", too_small.text("main"));
}

async fn laboratory(t: &TestApp, unit: Uuid, on: Date, nitrite: i64, more: &[(What, i64)]) {
    let level = MgPerLitre::new(nitrite).unwrap();
    let mut readings = vec![NewReading::inhibitor_as(level, Basis::Nitrite, level), NewReading::ph(Ph::new(890).unwrap())];
    readings.extend(more.iter().map(|(what, mg)| NewReading::figure(*what, mg * 1000)));
    let test = NewTest {
        id: Uuid::now_v7(),
        unit_id: unit,
        taken_on: on,
        maker: Maker::Laboratory,
        staff_id: None,
        report: None,
        fill_id: None,
        note: "",
        readings: &readings,
    };
    water::add_test(&mut t.pool().acquire().await.unwrap(), &test, t.app.clock.now()).await.unwrap();
}

/// A published case: 2,000 mg/L at the last visit, 1,100 now, the make-up meter at 0: not dilution. With molybdenum 100 and
/// 90 beside 1,000 and 600 it would have been 900: 300 are lost another way.
#[tokio::test]
async fn a_history_says_what_it_looks_like_and_never_more() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let place = embertide::store::customers::places(t.pool(), d.birch).await.unwrap()[0].id;
    let dry = dealership::unit(&t, "U8", "Dry heater", d.birch, place, 400).await;
    laboratory(&t, dry, date!(2026 - 05 - 01), 2000, &[]).await;
    laboratory(&t, dry, date!(2026 - 09 - 20), 1100, &[]).await;
    for (on, ml) in [(date!(2026 - 05 - 01), 1_000_000), (date!(2026 - 09 - 20), 1_000_000)] {
        let event =
            NewEvent { unit_id: dry, happened_on: on, what: Event::Meter, amount_ml: ml, where_to: "", staff_id: None, report: None };
        water::add_event(t.pool(), &event, t.app.clock.now()).await.unwrap();
    }
    let page = t.get(Some(&d.office), &format!("/units/{dry}/history")).await;
    let card = page.text(".card");
    assert!(card.contains("Looks like nitrite used up, not washed out") && card.contains("no water was added"), "{card}");
    assert!(page.text("main").contains("Never mix an acid cleaner with nitrite"));
    let leaky = dealership::unit(&t, "U9", "Leaky heater", d.birch, place, 400).await;
    laboratory(&t, leaky, date!(2026 - 05 - 01), 1000, &[(What::Molybdenum, 100)]).await;
    laboratory(&t, leaky, date!(2026 - 09 - 20), 600, &[(What::Molybdenum, 90)]).await;
    let page = t.get(Some(&d.office), &format!("/units/{leaky}/history")).await;
    let cards = page.texts(".card").join(" ");
    assert!(cards.contains("Looks like dilution") && cards.contains("dilution alone would have left 900"), "{cards}");
    // 400 gal × ln(1000/600) = 204.3 gal, ± from two laboratory tests of 5 % and a meter's 2 %.
    assert!(page.text("main").contains("Lost as liquid: 204 gal ± 29"), "{}", page.text("main"));
}

#[tokio::test]
async fn a_test_that_came_in_is_counted_with_the_usual_kit_unless_another_is_chosen() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let page = format!("/units/{}", d.units[0]);
    let chosen = || async { t.get(Some(&d.office), &page).await.attrs("form[action$='/tests'] option[selected]", "value") };
    assert_eq!(chosen().await, ["nitrite-drops-2"], "the unit's own");
    sqlx::query("UPDATE units SET kit_code = NULL").execute(t.pool()).await.unwrap();
    assert_eq!(t.post(&d.owner, "/treatments/kits/nitrite-drops-salt/usual", &[]).await.status, 303);
    assert_eq!(chosen().await, ["nitrite-drops-salt"], "the usual one");
    let unknown = [("taken_on", "Oct 4, 2026"), ("maker", "office"), ("kit", "drops-of-rain"), ("reading", "12")];
    let refused = t.post(&d.office, &format!("{page}/tests"), &unknown).await;
    assert!(refused.status == 422 && refused.text("main").contains("That test kit is not kept here"), "{}", refused.text("main"));
}

#[tokio::test]
async fn a_reading_with_an_old_reagent_is_marked_and_no_forecast_counts_on_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    sqlx::query("UPDATE test_kits SET reagent_expires_on = '2026-09-01' WHERE code = 'nitrite-drops-2'").execute(t.pool()).await.unwrap();
    dealership::test(&t, d.units[0], date!(2026 - 10 - 01), 14).await;
    let page = t.get(Some(&d.office), &format!("/units/{}", d.units[0])).await.text("main");
    assert!(page.contains("Reagent past its day: not counted on."), "{page}");
    let mut c = t.pool().acquire().await.unwrap();
    let treatments = catalogue::treatments(&mut c).await.unwrap();
    let waters = water::unit_waters(&mut *c, &treatments, &[d.units[0]]).await.unwrap();
    let record = water::records(&mut *c, &treatments, &waters).await.unwrap().remove(&d.units[0]).unwrap();
    assert_eq!(record.tests.iter().map(|test| test.on).collect::<Vec<_>>(), [date!(2026 - 04 - 20)]);
}

/// Means of 20.08 °C in September and 13.12 °C in October cross 15 °C on day 280, Oct 7 (two days from the daily record of
/// that station): windows 42 to 14 days before, Aug 26 to Sep 23.
#[tokio::test]
async fn the_fall_follows_the_monthly_means() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let means = "38, 41, 49, 58, 67, 74, 78, 77, 68.144, 55.616, 49, 41";
    let form = [
        ("normals", means),
        ("threshold", "59"),
        ("fall_opens_before", "42"),
        ("fall_closes_before", "14"),
        ("spring_days", "42"),
        ("source", "invented station"),
        ("row_version", "1"),
    ];
    let kept = t.post(&d.owner, "/settings/climate", &form).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let fall = catalogue::season_days(t.pool()).await.unwrap().into_iter().find(|s| s.name == "fall").unwrap();
    assert_eq!((fall.opens.as_str(), fall.closes.as_str()), ("Aug 26", "Sep 23"));
    assert!(fall.source.contains("invented station"));
    assert!(t.get(Some(&d.owner), "/settings").await.text("main").contains("Heating from about Oct 7 to about"));
    let mut c = t.pool().acquire().await.unwrap();
    let due = due::of_unit(&mut *c, d.units[0]).await.unwrap();
    assert!(due.iter().any(|l| l.job_code == "fall-start-up" && l.closes_on == date!(2026 - 09 - 23)), "{due:?}");
    let eleven = [[("normals", "38, 41")].as_slice(), &form[1..]].concat();
    assert!(t.post(&d.owner, "/settings/climate", &eleven).await.text("main").contains("Twelve monthly means"));
}

#[tokio::test]
async fn drained_water_is_kept_with_where_it_went_and_corrected_with_its_report() {
    let path::Stop { t, unit, visit, tech, .. } = path::at_a_stop().await;
    let sheet = [("job", "water-test"), ("drops", "12"), ("drained", "40 gal"), ("meter", "1,234 gal")];
    let refused = t.post(&tech, &format!("/stop/{visit}"), &sheet).await;
    assert!(refused.status == 422 && refused.text(".wrong").contains("Say where"), "{}", refused.text("main"));
    let whole = [&sheet[..], &[("drained_to", "sewer, as the town allows")]].concat();
    let kept = t.post(&tech, &format!("/stop/{visit}"), &whole).await;
    let page = t.get(Some(&tech), &kept.location).await.text("main");
    assert!(page.contains("40 gal (151 L), to: sewer, as the town allows") && page.contains("1,234 gal"), "{page}");
    let report: Uuid = sqlx::query_scalar("SELECT report_id FROM visit_reports").fetch_one(t.pool()).await.unwrap();
    let again = [("job", "water-test"), ("drops", "12"), ("drained", ""), ("version", "1"), ("reason", "nothing was drained")];
    assert_eq!(t.post(&tech, &format!("/kept/{report}/correct"), &again).await.status, 303);
    let left: i64 = sqlx::query_scalar("SELECT count(*) FROM water_events WHERE unit_id = $1 AND superseded_at IS NULL")
        .bind(unit)
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(left, 0, "the correction says neither");
}

#[tokio::test]
async fn a_programme_of_the_dealers_own_serves_from_then_on() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let form = [
        ("name", "Organic, by its label"),
        ("basis", "product"),
        ("alarm_low", "500"),
        ("min", "800"),
        ("top_up_below", "1000"),
        ("target", "1200"),
        ("max", "2000"),
        ("ph_min", "7.5"),
        ("ph_max", "9.5"),
        ("ph_min_aluminium", "7.5"),
        ("ph_max_aluminium", "8.5"),
        ("recheck_from", "7"),
        ("recheck_to", "28"),
        ("source", "label of 2026"),
        ("row_version", "0"),
    ];
    let kept = t.post(&d.owner, "/treatments/programmes", &form).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    assert!(t.get(Some(&d.owner), "/treatments").await.text("main").contains("Organic, by its label: 800 to 2,000 mg/L"));
}
