//! Drives by road: the plan says so, the pages draw them, an address finds its pin. The county is invented by the program.

use super::{
    path,
    support::{TestApp, dealership},
};
use embertide::roads::{Position, Roads, import};
use std::io::Cursor;
use uuid::Uuid;

#[tokio::test]
async fn a_plan_by_road_says_so_and_is_drawn_and_without_a_road_file_it_is_estimated() {
    let plain = TestApp::start().await;
    let d = dealership::open(&plain).await;
    path::issued_week(&plain, &d).await;
    let week = plain.get(Some(&d.office), "/week/2026-W41").await;
    assert!(week.text("main").contains("Driving times are estimated."));
    assert!(week.text("svg.map").contains("no road file: straight lines"), "drawn on lines of the globe, and says so");

    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    let week = t.get(Some(&d.office), "/week/2026-W41").await;
    assert!(week.text("main").contains("Driving times are by road."));
    let drawing = week.text("svg.map");
    assert!(drawing.contains("invented roads") && drawing.contains("All drives of the week"), "{drawing}");
    // By road is never shorter than the straight line: 12 m a second of arc and the drives of both plans.
    let metres = |t: &TestApp| {
        let pool = t.pool().clone();
        async move { sqlx::query_scalar::<_, i64>("SELECT sum(drive_m)::bigint FROM routes").fetch_one(&pool).await.unwrap() }
    };
    assert!(metres(&t).await > 0 && metres(&plain).await > 0);
    let (day, staff): (time::Date, Uuid) = sqlx::query_as("SELECT day, staff_id FROM routes LIMIT 1").fetch_one(t.pool()).await.unwrap();
    let route = t.get(Some(d.technician(staff)), &format!("/route/{day}")).await;
    assert!(route.text("svg.map desc").contains("In order: D the shop, 1 "), "a screen reader hears the stops in order");
    let print = t.get(Some(&d.office), "/week/2026-W41/print").await;
    assert_eq!(print.texts(".day svg.map").len(), print.texts(".day ol").len(), "each printed day has its drive");
}

#[tokio::test]
async fn an_address_of_the_map_gives_a_pin_that_says_where_it_comes_from() {
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let place = embertide::store::customers::places(t.pool(), d.alder).await.unwrap().remove(0);
    let (network, _) = import(Cursor::new(dealership::county().extract()), None).unwrap();
    let roads = Roads::new(network);
    let house = &roads.network().parts().houses[0];
    let ask = format!("/places/{}/pin?address={}+{}", place.id, house.number, house.street.replace(' ', "+"));
    let page = t.get(Some(&d.office), &ask).await;
    assert!(page.text("h3").starts_with(&format!("{} {}", house.number, house.street)), "{}", page.text("main"));
    let pin = page.attrs("form input[name=pin]", "value").remove(0);
    let at = Position::from(house.at);
    assert_eq!(pin, format!("{:.5}, {:.5}", at.lat(), at.lon()));
    let version = place.row_version.to_string();
    let set = t.post(&d.office, &format!("/places/{}/pin", place.id), &[("pin", &pin), ("row_version", &version)]).await;
    assert_eq!(set.status, 303, "{}", set.text("main"));
    let customer = t.get(Some(&d.office), &format!("/customers/{}", d.alder)).await.text("main");
    assert!(customer.contains(&pin) && customer.contains("from address") && customer.contains(" off "), "{customer}");
    let none = t.get(Some(&d.office), &format!("/places/{}/pin?address=1+Nowhere+at+all", place.id)).await;
    assert!(none.status == 200 && none.text("main").contains("Put the pin here") || none.text("main").contains("knows no address"));
    let again = t.post(&d.office, &format!("/places/{}/pin", place.id), &[("pin", &pin), ("row_version", &version)]).await;
    assert_eq!(again.status, 409, "made from an older page");
}
