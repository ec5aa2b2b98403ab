//! The office's face: who is due, the week, customers and units, lists, settings.

mod answers;
mod bring_in;
mod coming;
mod crew;
mod customers;
mod done;
mod due;
mod fill;
mod fill_limits;
mod forget;
mod hand_over;
mod held;
mod history;
mod in_use;
mod jobs;
mod kinds;
mod mend;
mod overview;
mod phones;
mod pins;
mod planning;
mod reports;
mod roads;
mod season;
mod settings;
mod shelf;
mod taken_out;
mod technicians;
mod tell;
mod treatments;
mod units;
mod visits;
mod volume;
mod week;
mod when;
mod whole_record;
mod work_done;

use super::{
    LIST_LIMIT,
    app::App,
    guard::{Office, Owner, Protected, RouteInfo},
};
use axum::{Router, extract::DefaultBodyLimit};

pub(super) use customers::need;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Office>::default()
        .get("/due", due::page)
        .get("/overview", overview::page)
        .get("/overview/work.csv", work_done::list)
        .post("/customers-say/{id}", due::settle)
        .get("/season", season::page)
        .post("/season/plan", season::plan)
        .get("/week", week::coming)
        .get("/week/{week}", week::page)
        .get("/week/{week}/print", week::print)
        .post("/week/{week}/plan", week::plan)
        .post("/week/{week}/issue", week::issue)
        .get("/week/{week}/tell", tell::page)
        .post("/week/{week}/tell", tell::told)
        .post("/week/{week}/tell/links", tell::with_links)
        .get("/week/{week}/mend", mend::page)
        .post("/week/{week}/mend", mend::keep)
        .get("/roads", roads::page)
        .post("/roads", roads::close)
        .post("/roads/{id}/open", roads::open)
        .post("/visits/{id}/move", visits::shift)
        .post("/visits/{id}/confirm", visits::confirm)
        .post("/visits/{id}/take-off", visits::take_off)
        .post("/visits/{id}/must", visits::must)
        .post("/visits/{id}/cancel", visits::cancel)
        .get("/customers", customers::list)
        .post("/customers", customers::add)
        .get("/customers/{id}", customers::page)
        .post("/customers/{id}", customers::change)
        .post("/customers/{id}/forget", forget::customer)
        .post("/customers/{id}/places", customers::add_place)
        .post("/places/{id}", customers::change_place)
        .post("/places/{id}/remove", forget::place)
        .post("/places/{id}/hand-over", hand_over::hand_over)
        .get("/places/{id}/pin", pins::page)
        .post("/places/{id}/pin", pins::set)
        .get("/water", history::losing)
        .get("/water/held", held::page)
        .get("/reports/{id}", reports::page)
        .get("/phones", phones::page)
        .post("/phones/{id}/revoke", phones::revoke)
        .post("/phones/settle/{id}/{hash}", phones::settle)
        .get("/answers/source-water", answers::source_water::page)
        .get("/answers/antifreeze", answers::antifreeze::page)
        .get("/answers/fuel", answers::fuel::page)
        .into_parts()
}

/// All that hangs on one unit.
pub(super) fn unit_routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Office>::default()
        .get("/places/{id}/new-unit", units::new_page)
        .post("/places/{id}/units", units::add)
        .get("/units/{id}", units::page)
        .get("/units/{id}/history", history::page)
        .get("/units/{id}/when", when::page)
        .post("/units/{id}/when", when::choose)
        .get("/units/{id}/fill", fill::page)
        .post("/units/{id}/fill", fill::keep)
        .post("/units/{id}", units::change)
        .get("/units/{id}/volume", volume::page)
        .post("/units/{id}/volume", volume::add)
        .post("/units/{id}/volume/by-charge", volume::by_charge)
        .post("/units/{id}/parts", volume::add_part)
        .post("/units/{id}/parts/keep", volume::keep_parts)
        .post("/units/{id}/parts/{part}/remove", volume::remove_part)
        .post("/units/{id}/tests", units::add_test)
        .get("/units/{id}/whole-record", whole_record::page)
        .get("/units/{id}/taken-out", taken_out::page)
        .post("/units/{id}/taken-out", taken_out::take_out)
        .post("/units/{id}/requests", units::ask)
        .post("/units/{id}/requests/{request}/withdraw", done::withdraw)
        .post("/units/{id}/done", done::done_already)
        .post("/units/{id}/done/{done}/take-back", done::not_done)
        .post("/units/{id}/links", units::make_link)
        .post("/units/{id}/links/{link}/revoke", units::revoke_link)
        .into_parts()
}

pub(super) fn owner_routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Owner>::default()
        .get("/treatments", treatments::page)
        .get("/treatments/fill-limits", fill_limits::page)
        .post("/treatments/fill-limits/{code}", fill_limits::change)
        .post("/treatments/compared", treatments::compared)
        .post("/treatments/programmes", treatments::add_programme)
        .post("/treatments/programmes/{code}", treatments::change_programme)
        .post("/treatments/products", treatments::add_product)
        .post("/treatments/products/{id}", treatments::change_product)
        .post("/treatments/products/{id}/usual", in_use::make_product_usual)
        .post("/treatments/products/{id}/use", in_use::use_product)
        .post("/treatments/products/{id}/lots", shelf::add_lot)
        .post("/treatments/lots/{id}/count", shelf::count_lot)
        .post("/treatments/kits", treatments::add_kit)
        .post("/treatments/kits/{code}", treatments::change_kit)
        .post("/treatments/kits/{code}/usual", in_use::make_kit_usual)
        .post("/treatments/kits/{code}/use", in_use::use_kit)
        .get("/settings", settings::page)
        .post("/settings", settings::change)
        .post("/settings/second-factor", crew::need_second_factor)
        .post("/settings/staff", crew::invite)
        .post("/settings/staff/{id}/link", crew::new_link)
        .post("/settings/staff/{id}/active", crew::set_active)
        .post("/settings/staff/{id}/second-factor-off", crew::second_factor_off)
        .post("/settings/staff/{id}", crew::rename)
        .post("/settings/staff/{id}/drives", crew::drives_too)
        .post("/settings/depots", crew::add_depot)
        .post("/settings/depots/{id}", crew::change_depot)
        .post("/settings/depots/{id}/leave-out", crew::leave_out_depot)
        .get("/settings/kinds", kinds::page)
        .post("/settings/kinds", kinds::add)
        .post("/settings/kinds/{code}", kinds::change)
        .post("/settings/technicians/{id}", technicians::change)
        .post("/settings/seasons/{name}", settings::change_season)
        .post("/settings/climate", settings::change_climate)
        .get("/settings/jobs", jobs::page)
        .post("/settings/jobs", jobs::add)
        .post("/settings/jobs/{code}", jobs::change)
        .post("/settings/jobs/{code}/steps", jobs::add_step)
        .post("/settings/steps/{code}", jobs::change_step)
        .post("/settings/steps/{code}/leave-out", jobs::leave_out_step)
        .post("/settings/planning", planning::change_prices)
        .post("/settings/drives", planning::correct_drives)
        .into_parts()
}

/// Lists may be larger than other forms.
pub(super) fn list_routes() -> (Router<App>, Vec<RouteInfo>) {
    let (router, list) = Protected::<Office>::default()
        .get("/bring-in", bring_in::page)
        .post("/bring-in", bring_in::check)
        .get("/bring-in/{id}", bring_in::report)
        .get("/bring-in/{id}/to-fix.csv", bring_in::to_fix)
        .post("/bring-in/keep", bring_in::keep)
        .into_parts();
    (router.layer(DefaultBodyLimit::max(LIST_LIMIT)), list)
}
