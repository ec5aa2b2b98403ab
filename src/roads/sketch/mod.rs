//! Drawings of routes, weeks and single places, as SVG made by the server: no tiles, no script, no styles of its own.
//!
//! What is drawn has classes; [`LOOK`] says how they look. The order of stops is said in the picture's description too.

mod foot;
mod marks;
mod names;
mod view;
mod ways;

use super::{
    drives::Driven,
    point::{Extent, Point, whole},
    ready::Roads,
    straight::{MILE_M, Position},
};
pub use marks::{Barred, Mark};
use names::Taken;
use std::fmt::Write;
use view::{Dot, View, path, simplify, text};

/// The rules for the classes, in the colours of the house's style sheet.
pub const LOOK: &str = include_str!("look.css");

/// Size of a drawing in pixels, the strip below it left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    pub wide: u16,
    pub high: u16,
}

impl Size {
    pub const DESK: Self = Self { wide: 900, high: 600 };
    pub const PHONE: Self = Self { wide: 360, high: 400 };
}

/// One day's drive on a drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// "Mon Oct 5", for the description
    pub name: String,
    pub legs: Vec<Driven>,
    pub marks: Vec<Mark>,
}

/// What is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    /// letters, digits and hyphens; no two drawings on one page have the same
    pub id: String,
    pub title: String,
    /// one for a route; a week has one a day, each with its own dashes; none for a place
    pub lines: Vec<Line>,
    /// marks of their own
    pub marks: Vec<Mark>,
    /// where roads are closed; what lies outside of the picture is not drawn and makes it no larger
    pub closed: Vec<Barred>,
    pub size: Size,
    /// least width and height of what is drawn, in metres
    pub least_m: f64,
}

impl Sketch {
    /// One route: the depot, its stops in order, back to the depot.
    pub fn route(id: &str, title: &str, line: Line) -> Self {
        Self::week(id, title, vec![line])
    }

    /// All days of a week.
    pub fn week(id: &str, title: &str, lines: Vec<Line>) -> Self {
        Self {
            id: id.to_owned(),
            title: title.to_owned(),
            lines,
            marks: Vec::new(),
            closed: Vec::new(),
            size: Size::DESK,
            least_m: 2.0 * MILE_M,
        }
    }

    /// One place with the roads round it, half a mile each way.
    pub fn place(id: &str, title: &str, at: Position) -> Self {
        let mark = Mark { at: at.into(), label: "●".to_owned(), name: title.to_owned(), depot: false };
        Self { marks: vec![mark], size: Size::PHONE, least_m: MILE_M, ..Self::week(id, title, Vec::new()) }
    }

    /// With roads closed there.
    #[must_use]
    pub fn barred(self, closed: Vec<Barred>) -> Self {
        Self { closed, ..self }
    }

    #[must_use]
    pub fn sized(self, size: Size) -> Self {
        Self { size, ..self }
    }

    /// The drawing as an `<svg>` element. Without roads, on lines of the globe. Empty when there is nothing to draw.
    pub fn draw(&self, roads: Option<&Roads>) -> String {
        let (wide, high) = (f64::from(self.size.wide.max(120)), f64::from(self.size.high.max(120)));
        let on_lines = self.lines.iter().flat_map(|l| l.legs.iter().flat_map(|g| g.shape.iter().copied()));
        let on_marks = self.marks().map(|m| m.at);
        let Some(view) = View::fit(on_lines.chain(on_marks), wide, high, 34.0, self.least_m) else { return String::new() };
        let mut out = String::with_capacity(60_000);
        let closed: Vec<(&Barred, (f64, f64))> = self.closed.iter().filter_map(|c| Some((c, c.sign(&view)?))).collect();
        self.head(&mut out, &view, closed.iter().map(|c| c.0));
        let mut taken = Taken::new(wide, high);
        let mut labels = Vec::new();
        match roads {
            Some(roads) => {
                let land = ways::land(roads, &view);
                out.push_str(r#"<g class="land" transform="scale(.1)">"#);
                ways::write(&mut out, &land, &self.id);
                out.push_str("</g>");
                labels = land.labels;
            }
            None => foot::globe(&mut out, &view),
        }
        for (c, _) in &closed {
            marks::reach(&mut out, &view, c);
        }
        self.drive(&mut out, &view, &mut taken);
        let marks: Vec<Mark> = self.marks().cloned().collect();
        let placed = marks::place(&marks, &view);
        for p in &placed {
            taken.take(p.frame());
        }
        let bars: String = closed.iter().map(|c| marks::bar(c.1, &mut taken)).collect();
        foot::north(&mut out, &view, &mut taken);
        if let Some(roads) = roads {
            out.push_str(r#"<g class="names">"#);
            names::towns(&mut out, roads.network(), &view, &mut taken);
            names::along(&mut out, labels, &mut taken);
            out.push_str("</g>");
        }
        out.push_str(&bars);
        marks::write(&mut out, &placed);
        foot::write(&mut out, &view, roads.map_or("no road file: straight lines", |r| r.network().parts().origin.credit()));
        out.push_str("</svg>");
        out
    }

    fn marks(&self) -> impl Iterator<Item = &Mark> {
        // A depot that is on every day's route is drawn once.
        let all = self.lines.iter().flat_map(|l| &l.marks).chain(&self.marks);
        let mut depots: Vec<(Point, &str)> = Vec::new();
        all.filter(move |m| {
            let key = (m.at, m.label.as_str());
            let new = !m.depot || !depots.contains(&key);
            depots.push(key);
            new
        })
    }

    fn head<'a>(&self, out: &mut String, view: &View, closed: impl Iterator<Item = &'a Barred>) {
        let id = &self.id;
        let _ = write!(
            out,
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="map" viewBox="0 0 {} {}" role="img" aria-labelledby="{id}-t {id}-d"><title id="{id}-t">{}</title><desc id="{id}-d">{}</desc><rect class="ground" width="{}" height="{}"/>"#,
            view.wide,
            view.high + foot::STRIP,
            text(&self.title),
            text(&self.words(closed)),
            view.wide,
            view.high
        );
    }

    /// What a screen reader says: the stops in order, how far it is, and which roads in the picture are closed.
    fn words<'a>(&self, closed: impl Iterator<Item = &'a Barred>) -> String {
        let mut said = String::new();
        for line in &self.lines {
            let metres: f64 = line.legs.iter().map(|l| f64::from(l.metres)).sum();
            let stops: Vec<String> = line.marks.iter().map(|m| format!("{} {}", m.label, m.name)).collect();
            let _ = write!(said, "{}: {} miles. In order: {}. ", line.name, whole(metres / MILE_M), stops.join(", "));
        }
        for m in &self.marks {
            let _ = write!(said, "{}. ", m.name);
        }
        for c in closed {
            let _ = write!(said, "Closed: {}. ", c.name);
        }
        said.trim_end().to_owned()
    }

    /// The lines driven, each first with a light edge, and arrows.
    fn drive(&self, out: &mut String, view: &View, taken: &mut Taken) {
        let mut arrows = String::new();
        out.push_str(r#"<g class="drive" transform="scale(.1)">"#);
        for (i, line) in self.lines.iter().enumerate() {
            let mut road = String::new();
            let mut straight = String::new();
            for leg in &line.legs {
                let dots: Vec<Dot> = simplify(&view.dots(&leg.shape), 4.0);
                taken.line(&dots);
                path(if leg.estimated { &mut straight } else { &mut road }, &dots);
                arrows.push_str(&marks::arrows(&simplify(&dots, 25.0), view));
            }
            let day = if self.lines.len() > 1 { format!(" d{}", i % 6) } else { String::new() };
            for (class, d) in [("leg", &road), ("leg est", &straight)] {
                if !d.is_empty() {
                    let _ = write!(out, r#"<path class="halo" d="{d}"/><path class="{class}{day}" d="{d}"/>"#);
                }
            }
        }
        out.push_str("</g>");
        if !arrows.is_empty() {
            let _ = write!(out, r#"<path class="arrows" d="{arrows}"/>"#);
        }
    }
}
