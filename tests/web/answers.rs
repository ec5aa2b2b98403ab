//! Answers on the telephone: figures that published examples give, read off the pages.

use super::support::{TestApp, dealership};

#[tokio::test]
async fn a_hard_limestone_well_is_to_be_softened_and_the_page_says_by_which_limit() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    // A hard limestone well; vented at 80 °C its saturation index is +2.11 (PHREEQC, phreeqc.dat).
    let page = t.get(Some(&d.office), "/answers/source-water?ph=7.3&hardness=352&alkalinity=310&conductivity=694&chloride=20&sulfate=45&volume=450+gal&grains=3000&device=intermediate_vent").await;
    assert_eq!(page.status, 200);
    let text = page.text("main");
    assert!(page.text("output").starts_with("Soften it before filling"), "{}", page.text("output"));
    assert!(text.contains("lime index is +2.1") || text.contains("lime index is +2.0"), "{text}");
    assert!(text.contains("P2902.3.3"), "the vented preventer is not allowed with an additive: {text}");
    // 352 mg/L are 20.6 grains a gallon; 450 gal of it are 9,250 grains, and 2,400 of a canister's 3,000 are counted on.
    assert!(text.contains("20.6 grains per gallon") && text.contains("4 canister(s)"), "{text}");
    assert!(
        page.texts("tbody tr").iter().any(|r| r.starts_with("Act") && r.to_lowercase().contains("hardness")),
        "{:?}",
        page.texts("tbody tr")
    );
}

#[tokio::test]
async fn soft_town_water_is_usable_as_it_is() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let page = t
        .get(
            Some(&d.office),
            "/answers/source-water?ph=7.4&hardness=50&alkalinity=45&conductivity=129&chloride=5&sulfate=10&iron=0.05&manganese=0.01",
        )
        .await;
    assert!(page.text("output").starts_with("Usable"), "{}", page.text("main"));
}

#[tokio::test]
async fn antifreeze_answers_with_both_sides_of_the_trade() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    // From 30 to 40 % in 60 gal with neat glycol: drain 60 x 10 / 70 = 8.57 gal.
    let page =
        t.get(Some(&d.office), "/answers/antifreeze?glycol=propylene&wanted=40&now=30&volume=60+gal&coldest=-4+F&works_at=140+F").await;
    let text = page.text("main");
    assert!(text.contains("drain 8.6 gal"), "{text}");
    assert!(text.contains("less heat than water") && text.contains("For:") && text.contains("Against"), "{text}");
    // Handbook table: propylene 30 % by volume has a specific gravity of 1.024 at 60 °F; so the same drain.
    let weighed = "/answers/antifreeze?glycol=propylene&wanted=40&gauge=hydrometer&now=1.024&volume=60+gal&works_at=140+F";
    assert!(t.get(Some(&d.office), weighed).await.text("main").contains("drain 8.6 gal"));
    // By mass, 50 % propylene at 60 °C carries 0.9046 of what water carries (IIR 2010): 9.5 % less, 10.5 % more flow.
    let by_mass = t.get(Some(&d.office), "/answers/antifreeze?wanted=50&by=mass&works_at=60+C").await.texts("tbody tr");
    assert!(by_mass[0].contains("propylene") && by_mass[0].contains("9.5 %") && by_mass[0].contains("10.5 %"), "{by_mass:?}");
    assert!(by_mass[1].contains("ethylene"), "both glycols stand side by side");
    let too_cold = t.get(Some(&d.office), "/answers/antifreeze?coldest=-70+F").await;
    assert!(too_cold.text(".wrong").contains("No mix up to 60"), "{}", too_cold.text("main"));
}

#[tokio::test]
async fn the_fuel_sheet_says_what_each_figure_counts() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    // Propane at $2.50 a gallon of 91,333 Btu, burned at 90 %: 2.50 / (0.091333 x 0.9) = $30.41 a million useful Btu.
    let page = t.get(Some(&d.office), "/answers/fuel?fuel=0&fuel_price=2.50&fuel_burner=90").await;
    let rows = page.texts("tbody tr");
    assert!(rows.iter().any(|r| r.contains("propane") && r.contains("$30.41")), "{rows:?}");
    assert!(rows.iter().all(|r| r.len() > 40), "every figure carries its basis: {rows:?}");
    let odd = t.get(Some(&d.office), "/answers/fuel?moisture=much").await;
    assert!(odd.status == 200 && odd.text(".wrong").contains("much"), "{}", odd.text("main"));
}

#[tokio::test]
async fn no_typed_nonsense_breaks_an_answer() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    for odd in ["NaN", "inf", "-1", "1e308", "%00", "9999999999999999999", "0", "%F0%9F%94%A5"] {
        for (page, fields) in [
            ("source-water", &["ph", "hardness", "alkalinity", "conductivity", "chloride", "iron", "volume", "output", "grains"][..]),
            ("antifreeze", &["coldest", "volume", "now", "wanted", "goes_in", "works_at"][..]),
            ("fuel", &["moisture", "wet", "cord_price", "burner", "fuel_price", "fuel_burner", "heat", "outlay", "demand", "hours"][..]),
        ] {
            for field in fields {
                let answer = t.get(Some(&d.office), &format!("/answers/{page}?{field}={odd}&ph=7")).await;
                assert!(
                    answer.status < 500 && !answer.body.contains("NaN %") && !answer.body.contains("inf "),
                    "{page} {field}={odd}: {}",
                    answer.status
                );
            }
        }
    }
}
