//! Days under way: what of a technician's day is over, and from where and when on the rest of it is driven.

use super::{
    super::{Error, Result, staff::Behind, staff::Crew},
    lay::{Candidate, Held, minute_of},
    save::NewRoute,
};
use crate::{
    roads::{Drives, Position},
    route::TimedRoute,
};
use sqlx::PgExecutor;
use std::collections::HashMap;
use time::{Date, PrimitiveDateTime};
use uuid::Uuid;

/// A technician's day of which something is over.
#[derive(Clone, Debug, Default)]
pub(super) struct Begun {
    /// The visits that are over, in the order in which they ended.
    pub(super) over: Vec<Uuid>,
    /// The one that ended last on this very day; none, when what is over was made on another day.
    pub(super) last: Option<Last>,
    /// Driving to what is over: seconds and metres.
    driven: (i32, i32),
    /// What its van carried for all of it, mL.
    load_ml: i64,
    /// As its route says: when it left, and lunch.
    leaves: Option<i32>,
    lunch_at: Option<i32>,
}

/// Where the technician was last. Minutes after midnight, by the phone's clock; as planned where nothing was written down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Last {
    pub(super) visit: Uuid,
    starts: i32,
    ends: i32,
}

/// The days under way of a week from `first_day` on, or one technician's day, by `now` in the dealer's own time.
pub(super) async fn begun(
    db: impl PgExecutor<'_>,
    monday: Date,
    first_day: Date,
    only: Option<(Uuid, Date)>,
    now: PrimitiveDateTime,
) -> Result<HashMap<(Uuid, Date), Begun>> {
    let (staff, day) = only.unzip();
    let rows = sqlx::query!(
        r#"SELECT v.id, v.staff_id AS "staff_id!", v.day AS "day!", v.starts AS "starts!", v.ends AS "ends!", v.drive_s, v.drive_m,
             coalesce(v.expected_dose_ml, 0) AS "load!", t.leaves AS "leaves?", t.lunch_at AS "lunch_at?", r.arrived_at AT TIME ZONE d.zone AS arrived, r.kept_at AT TIME ZONE d.zone AS kept,
             coalesce(r.staff_id <> v.staff_id, false) AS "by_another!"
           FROM week_plans w JOIN visits v ON v.week_plan_id = w.id CROSS JOIN dealer d
           LEFT JOIN routes t ON t.staff_id = v.staff_id AND t.day = v.day
           LEFT JOIN LATERAL (SELECT arrived_at, kept_at, staff_id FROM visit_reports WHERE visit_id = v.id AND version = 1 ORDER BY received_at LIMIT 1) r ON true
           WHERE w.monday = $1 AND v.day >= $2 AND v.staff_id IS NOT NULL AND v.status IN ('done', 'not done')
             AND ($3::uuid IS NULL OR v.staff_id = $3) AND ($4::date IS NULL OR v.day = $4)
           ORDER BY v.day, v.position LIMIT 1000"#,
        monday,
        first_day,
        staff,
        day
    )
    .fetch_all(db)
    .await?;
    let mut days: HashMap<(Uuid, Date), Vec<(i32, Uuid)>> = HashMap::new();
    let mut all: HashMap<(Uuid, Date), Begun> = HashMap::new();
    for r in rows {
        let key = (r.staff_id, r.day);
        let begun = all.entry(key).or_default();
        (begun.leaves, begun.lunch_at) = (r.leaves, r.lunch_at);
        // Somebody else made it: that says nothing of where this technician is.
        if r.by_another {
            days.entry(key).or_default().push((r.ends, r.id));
            continue;
        }
        begun.driven = (begun.driven.0 + r.drive_s, begun.driven.1 + r.drive_m);
        begun.load_ml += r.load;
        let clock = |t: Option<PrimitiveDateTime>| t.filter(|t| t.date() == r.day).map(|t| minute_of(t.time()));
        let ends = clock(r.kept).unwrap_or(r.ends);
        let ends = if r.day == now.date() { ends.min(minute_of(now.time())) } else { ends };
        let starts = clock(r.arrived).unwrap_or(ends - (r.ends - r.starts)).clamp(0, ends.max(0));
        days.entry(key).or_default().push((ends, r.id));
        let made_before = r.day > now.date() || r.kept.is_some_and(|k| k.date() < r.day);
        if !made_before && begun.last.is_none_or(|l| l.ends <= ends) {
            begun.last = Some(Last { visit: r.id, starts, ends });
        }
    }
    for (key, mut over) in days {
        over.sort_by_key(|o| o.0);
        if let Some(begun) = all.get_mut(&key) {
            begun.over = over.into_iter().map(|o| o.1).collect();
        }
    }
    Ok(all)
}

impl Begun {
    /// How many stops of the day stand before the first that is laid out.
    pub(super) fn stops_before(&self) -> usize {
        self.over.len() - usize::from(self.last.is_some())
    }

    /// What was last made, as the first stop of what is laid out: at its very times.
    pub(super) fn hold(&self, c: &mut Candidate, (staff_id, day): (Uuid, Date)) {
        let Some(last) = self.last else { return };
        (c.opens, c.closes) = (c.opens.min(day), c.closes.max(day));
        (c.minutes, c.set_up, c.load_ml) = (last.ends - last.starts, 0, self.load_ml);
        c.skills.clear();
        c.suits.clear();
        c.held = Held::Was { staff_id, day, starts: last.starts };
    }

    /// Lets the technician's day begin so that the last stop was reached, with what lies behind it.
    pub(super) fn set_day(
        &mut self,
        crew: &mut Crew,
        (staff_id, day): (Uuid, Date),
        pin: (f64, f64),
        drives: &Drives,
        now: PrimitiveDateTime,
    ) -> Result<()> {
        let (Some(last), Some(t)) = (&mut self.last, crew.technicians.iter().find(|t| t.id == staff_id)) else { return Ok(()) };
        let place = |(lat, lon)| Position::new(lat, lon).map_err(|_| Error::Rule("no_pin".to_owned()));
        let there = drives.table(&[place((t.lat, t.lon))?, place(pin)?]).seconds[1];
        let drive = (there + 59) / 60;
        // A phone whose clock is wrong may say that somebody was there before the day began.
        last.starts = last.starts.max(drive);
        last.ends = last.ends.max(last.starts);
        let leaves = last.starts - drive;
        let lunch_over = |at: i32| day < now.date() || (day == now.date() && at + t.lunch_minutes <= minute_of(now.time()));
        let behind = Behind {
            minutes: self.leaves.map_or(0, |at| (leaves - at).max(0)),
            lunch_had: self.lunch_at.is_some_and(lunch_over),
            lunch_from: last.ends,
        };
        for d in crew.days.iter_mut().filter(|d| (d.staff_id, d.day) == (staff_id, day)) {
            (d.starts, d.behind) = (leaves, behind);
        }
        Ok(())
    }

    /// A route that was timed from the last stop on is the route of the whole day.
    pub(super) fn add_to(&self, route: &mut NewRoute, timed: &TimedRoute) {
        if let Some(first) = timed.stops.first().filter(|_| self.last.is_some()) {
            route.drive_s -= first.leg_s;
            route.drive_m -= first.leg_m.unwrap_or(0);
            route.leaves = self.leaves.unwrap_or(route.leaves);
            route.lunch_at = route.lunch_at.or(self.lunch_at);
        }
        route.drive_s += self.driven.0;
        route.drive_m += self.driven.1;
    }
}
