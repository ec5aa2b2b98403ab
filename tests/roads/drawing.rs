//! Drawings: whole, small, readable without seeing, with their credit, and without a style or script of their own.

use crate::world::{at, county, county_network, node, read, way};
use embertide::roads::{
    Drives, Estimate, Point, Position, Roads, import,
    invent::County,
    sketch::{Barred, LOOK, Line, Mark, Size, Sketch},
};
use std::{collections::BTreeSet, io::Cursor, sync::Arc};

/// Goes through every tag: quotes closed, elements closed in order, nothing but known entities. Gives (element, attributes).
fn well_formed(svg: &str) -> Vec<(String, Vec<(String, String)>)> {
    let mut open: Vec<String> = Vec::new();
    let mut all = Vec::new();
    let mut rest = svg;
    while let Some(start) = rest.find('<') {
        entities(&rest[..start]);
        rest = &rest[start + 1..];
        let end = rest.find('>').unwrap();
        let (tag, after) = (&rest[..end], &rest[end + 1..]);
        assert!(!tag.contains('<'), "{tag}");
        rest = after;
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name));
            continue;
        }
        let (tag, closed) = tag.strip_suffix('/').map_or((tag, false), |t| (t, true));
        let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
        let mut found: Vec<(String, String)> = Vec::new();
        while !attributes.trim().is_empty() {
            let (key, more) = attributes.trim_start().split_once("=\"").unwrap();
            let (value, more) = more.split_once('"').unwrap();
            assert!(key.chars().all(|c| c.is_ascii_alphanumeric() || "-:".contains(c)), "{key}");
            assert!(found.iter().all(|f| f.0 != key), "{key} twice");
            entities(value);
            found.push((key.to_owned(), value.to_owned()));
            attributes = more;
        }
        all.push((name.to_owned(), found));
        if !closed {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty() && rest.is_empty(), "{open:?} {rest}");
    all
}

fn entities(text: &str) {
    for after in text.split('&').skip(1) {
        assert!(["amp;", "lt;", "gt;", "quot;"].iter().any(|e| after.starts_with(e)), "&{after}");
    }
    assert!(text.chars().all(|c| !c.is_control()), "{text:?}");
}

fn attribute<'a>(element: &'a (String, Vec<(String, String)>), key: &str) -> Option<&'a str> {
    element.1.iter().find(|a| a.0 == key).map(|a| a.1.as_str())
}

/// Whatever is drawn: well formed, with words for who cannot see it, small, and with rules for every class.
fn sound(svg: &str, id: &str) -> Vec<(String, Vec<(String, String)>)> {
    let all = well_formed(svg);
    assert!(svg.len() < 150_000, "{} bytes", svg.len());
    assert_eq!(attribute(&all[0], "role"), Some("img"));
    assert_eq!(attribute(&all[0], "aria-labelledby"), Some(format!("{id}-t {id}-d").as_str()));
    assert_eq!((all[1].0.as_str(), all[2].0.as_str()), ("title", "desc"));
    let mut ids = BTreeSet::new();
    for element in &all {
        assert!(!["script", "style", "image", "foreignObject", "a"].contains(&element.0.as_str()), "{}", element.0);
        for (key, value) in &element.1 {
            assert!(key != "style" && !key.starts_with("on"), "{key}");
            assert!(key != "href" || value.starts_with('#'), "{value}");
            if key == "id" {
                assert!(value.starts_with(id) && ids.insert(value.clone()), "{value}");
            }
            if key == "class" {
                for class in value.split(' ').filter(|c| !["map", "land", "drive", "d0", "t0", "t1", "t2", "t3"].contains(c)) {
                    assert!(LOOK.contains(&format!(".{class}")), "nothing says how .{class} looks");
                }
            }
        }
    }
    for element in all.iter().filter(|e| e.0 == "use") {
        assert!(ids.contains(&attribute(element, "href").unwrap()[1..]), "{element:?}");
    }
    all
}

fn roads() -> Arc<Roads> {
    Arc::new(Roads::new(county_network()))
}

fn line(drives: &Drives, stops: &[Position]) -> Line {
    let mark = |(i, p): (usize, &Position)| Mark {
        at: (*p).into(),
        label: if i == 0 { "S".to_owned() } else { i.to_string() },
        name: if i == 0 { "the shop".to_owned() } else { format!("Yard {i}") },
        depot: i == 0,
    };
    let round: Vec<Position> = stops.iter().chain(stops.first()).copied().collect();
    Line { name: "Mon Oct 5".to_owned(), legs: drives.route(&round), marks: stops.iter().enumerate().map(mark).collect() }
}

fn by_road(roads: &Arc<Roads>) -> Drives {
    Drives::new(Some(Arc::clone(roads)), Estimate::default()).unwrap()
}

fn round_the_middle() -> Vec<Position> {
    let m = county().middle;
    let off = [(0.0, 0.0), (0.04, 0.02), (0.05, -0.05), (-0.02, -0.06), (-0.05, 0.03), (-0.01, 0.05)];
    off.map(|o| at(m.lat() + o.0, m.lon() + o.1)).to_vec()
}

#[test]
fn a_route() {
    let roads = roads();
    let sketch = Sketch::route("route", "Route of Mon Oct 5", line(&by_road(&roads), &round_the_middle()));
    let svg = sketch.draw(Some(&roads));
    let all = sound(&svg, "route");
    assert!(svg.contains("invented roads</text>") && !svg.contains("OpenStreetMap"), "nobody's data is credited to nobody");
    assert!(svg.contains("In order: S the shop, 1 Yard 1, 2 Yard 2,"));
    assert!(svg.contains(" mi</text>") && svg.contains(" km</text>") && svg.contains(">N</text>"));
    assert_eq!(all.iter().filter(|e| attribute(e, "class").is_some_and(|c| c.starts_with("stop"))).count(), 6);
    assert!(!svg.contains("leg est"), "all legs go by road");
    assert_eq!(svg, sketch.draw(Some(&roads)), "the same every time");
}

#[test]
fn a_real_extract_is_credited() {
    let nodes = [node(1, 44.0, -90.0), node(2, 44.1, -90.0)];
    let (network, _) = read(&nodes, &[way(1, &[1, 2], &[("highway", "tertiary"), ("name", "A & <b> \"Road\"")])]);
    let roads = Arc::new(Roads::new(network));
    for size in [Size::DESK, Size::PHONE, Size { wide: 0, high: 1 }] {
        let sketch = Sketch::place("p1", "Barn & <shed>\u{7}", at(44.05, -90.001)).sized(size);
        let svg = sketch.draw(Some(&roads));
        sound(&svg, "p1");
        assert!(svg.contains("© OpenStreetMap contributors</text>"));
        assert!(svg.contains("Barn &amp; &lt;shed&gt;"));
    }
}

#[test]
fn without_roads_straight_lines_on_the_globe() {
    let drives = Drives::new(None, Estimate::default()).unwrap();
    let svg = Sketch::route("r", "Route", line(&drives, &round_the_middle())).draw(None);
    sound(&svg, "r");
    assert!(svg.contains("no road file: straight lines") && svg.contains("leg est") && svg.contains("44.00° N") && svg.contains("° W"));
    assert!(!svg.contains("OpenStreetMap"));
}

#[test]
fn a_week_tells_its_days_apart() {
    let roads = roads();
    let all = round_the_middle();
    let lines = (1..6).map(|d| line(&by_road(&roads), &[all[0], all[d]])).collect();
    let svg = Sketch::week("w", "Week 41", lines).draw(Some(&roads));
    let elements = sound(&svg, "w");
    for d in 0..5 {
        assert!(svg.contains(&format!("leg d{d}\"")), "{d}");
        assert!(d == 0 || LOOK.contains(&format!(".d{d}{{stroke-dasharray")), "not by colour alone");
    }
    let depots = elements.iter().filter(|e| attribute(e, "class") == Some("stop depot")).count();
    assert_eq!(depots, 1, "the shop is drawn once");
}

/// Where the marks are drawn, in pixels.
fn spots(svg: &str) -> Vec<(f64, f64)> {
    let of = |e: &(String, Vec<(String, String)>)| -> Option<(f64, f64)> {
        attribute(e, "class").filter(|c| c.starts_with("stop"))?;
        let (x, y) = attribute(e, "transform")?.strip_prefix("translate(")?.strip_suffix(')')?.split_once(' ')?;
        Some((x.parse().ok()?, y.parse().ok()?))
    };
    well_formed(svg).iter().filter_map(of).collect()
}

#[test]
fn neighbours_are_fanned_out() {
    let roads = roads();
    let m = county().middle;
    let mut stops = round_the_middle();
    stops.extend((0..6).map(|i| at(m.lat() + 0.04, m.lon() + 0.02 + f64::from(i) * 0.000_02)));
    stops.push(stops[1]);
    for size in [Size::DESK, Size::PHONE] {
        let svg = Sketch::route("r", "Route", line(&by_road(&roads), &stops)).sized(size).draw(Some(&roads));
        sound(&svg, "r");
        let all = spots(&svg);
        assert_eq!(all.len(), stops.len());
        for (i, a) in all.iter().enumerate() {
            assert!(a.0 > 12.0 && a.1 > 12.0 && a.0 < f64::from(size.wide) - 12.0 && a.1 < f64::from(size.high) - 12.0, "{a:?}");
            for b in &all[i + 1..] {
                assert!((a.0 - b.0).abs() > 20.0 || (a.1 - b.1).abs() > 20.0, "{a:?} {b:?}");
            }
        }
        assert!(svg.contains("class=\"tie\""), "and tied to their place");
    }
}

#[test]
fn arrows_stand_on_the_right_hand() {
    let nodes = [node(1, 44.0, -90.0), node(2, 44.1, -90.0)];
    let (network, _) = read(&nodes, &[way(1, &[1, 2], &[("highway", "tertiary")])]);
    let roads = Arc::new(Roads::new(network));
    let svg = Sketch::route("r", "North and back", line(&by_road(&roads), &[at(44.0, -90.0), at(44.1, -90.0)])).draw(Some(&roads));
    let arrows =
        well_formed(&svg).iter().find_map(|e| attribute(e, "class").filter(|c| *c == "arrows").and(attribute(e, "d").map(str::to_owned)));
    let tips: Vec<(f64, bool)> = arrows
        .unwrap()
        .split('M')
        .skip(1)
        .map(|a| {
            let numbers: Vec<f64> = a.trim_end_matches('z').split(['L', ' ']).map(|n| n.parse().unwrap()).collect();
            (numbers[0], numbers[1] < numbers[3])
        })
        .collect();
    // The road runs up the middle, x = 450: northward arrows (tip above base) to the right of it, southward ones to the left.
    assert!(tips.iter().any(|t| t.1) && tips.iter().any(|t| !t.1));
    assert!(tips.iter().all(|(x, north)| (*x > 450.0) == *north), "{tips:?}");
}

#[test]
fn a_large_dense_picture_stays_small() {
    let bytes = County { wide: 24, high: 24, towns: Vec::new(), ..county() }.extract();
    let roads = Arc::new(Roads::new(import(Cursor::new(bytes), None).unwrap().0));
    let m = county().middle;
    let stops: Vec<Position> =
        (0..40).map(|i| at(m.lat() + f64::from(i % 7) * 0.04 - 0.12, m.lon() + f64::from(i / 7) * 0.05 - 0.12)).collect();
    let svg = Sketch::route("r", "Route", line(&by_road(&roads), &stops)).draw(Some(&roads));
    sound(&svg, "r");
    assert!(
        svg.contains("class=\"town") && svg.contains("class=\"wet\"") && svg.contains("class=\"name\""),
        "names of towns, waters and roads"
    );
}

#[test]
fn nothing_to_draw_is_nothing() {
    assert_eq!(Sketch::week("w", "Week", Vec::new()).draw(None), "");
}

#[test]
fn odd_places_do_no_harm() {
    let drives = Drives::new(None, Estimate::default()).unwrap();
    for stops in [vec![at(90.0, 180.0), at(-90.0, -180.0)], vec![at(0.0, 0.0)], vec![at(89.999, 0.0), at(89.999, 90.0)]] {
        let svg = Sketch::route("r", "Route", line(&drives, &stops)).draw(None);
        sound(&svg, "r");
    }
    let point = Point::new(0, 0).unwrap();
    let mark = Mark { at: point, label: "a label much too long for it".to_owned(), name: String::new(), depot: false };
    let line = Line { name: String::new(), legs: Vec::new(), marks: vec![mark; 30] };
    sound(&Sketch::route("r", "", line).sized(Size { wide: 120, high: 120 }).draw(None), "r");
}

/// Streets that wind so much, and are so many, that they cannot all be sent as they are.
#[test]
fn winding_streets_without_end_are_drawn_coarser() {
    let side = 36_i64;
    let degrees = |n: i64| f64::from(i32::try_from(n).unwrap()) * 0.0006;
    let mut nodes: Vec<_> = (0..side * side).map(|i| node(i, 44.0 + degrees(i / side), -90.0 + degrees(i % side))).collect();
    let mut ways = Vec::new();
    for i in 0..side * side {
        for (next, there) in [(i + 1, i % side + 1 < side), (i + side, i / side + 1 < side)] {
            if !there {
                continue;
            }
            let mut refs = vec![i];
            for k in 1..14_i32 {
                let id = i64::try_from(nodes.len()).unwrap();
                let (along, aside) = (f64::from(k) / 14.0 * 0.0006, if k % 2 == 0 { 0.000_08 } else { -0.000_08 });
                let (lat, lon) = if next == i + 1 { (aside, along) } else { (along, aside) };
                nodes.push(node(id, 44.0 + degrees(i / side) + lat, -90.0 + degrees(i % side) + lon));
                refs.push(id);
            }
            refs.push(next);
            ways.push(way(i64::try_from(ways.len()).unwrap(), &refs, &[("highway", "residential"), ("name", "Winding Street")]));
        }
    }
    let roads = Arc::new(Roads::new(read(&nodes, &ways).0));
    let middle = degrees(side) / 2.0;
    let sketch = Sketch::place("p", "Middle", at(44.0 + middle, -90.0 + middle)).sized(Size::DESK);
    let svg = Sketch { least_m: 2_300.0, ..sketch }.draw(Some(&roads));
    sound(&svg, "p");
    assert!(svg.len() > 20_000, "and still drawn: {} bytes", svg.len());
}

/// Left, top, right and bottom of the towns' names, by the sizes of the style sheet and half a letter's height for its width: rather too narrow.
fn town_names(svg: &str) -> Vec<(f64, f64, f64, f64)> {
    let mut all = Vec::new();
    for part in svg.split(r#"<text class="town t"#).skip(1) {
        let size = [18.0, 17.0, 15.0, 14.0][part[..1].parse::<usize>().unwrap()];
        let number = |key: &str| -> f64 { part.split(&format!("{key}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap() };
        let name = part.split('>').nth(1).unwrap().split('<').next().unwrap();
        let half = f64::from(u32::try_from(name.chars().count()).unwrap()) * size * 0.25;
        all.push((number("x") - half, number("y") - size * 0.7, number("x") + half, number("y")));
    }
    all
}

#[test]
fn names_lie_neither_on_one_another_nor_on_stops_nor_on_the_route() {
    let m = county().middle;
    // Towns all round a stop and along the route, some on top of each other.
    let towns = (0..14).map(|i| {
        let (row, col) = (f64::from(i / 5), f64::from(i % 5));
        (format!("Longish Town {i}"), at(m.lat() + row * 0.015 - 0.02, m.lon() + col * 0.02 - 0.04), embertide::roads::Size::Village)
    });
    let bytes = County { towns: towns.collect(), ..county() }.extract();
    let roads = Arc::new(Roads::new(import(Cursor::new(bytes), None).unwrap().0));
    let stops = round_the_middle();
    let line = line(&by_road(&roads), &stops);
    let svg = Sketch::route("r", "Route", line).draw(Some(&roads));
    let names = town_names(&svg);
    assert!(names.len() >= 4, "{names:?}");
    for (i, a) in names.iter().enumerate() {
        assert!(names[i + 1..].iter().all(|b| a.2 <= b.0 || b.2 <= a.0 || a.3 <= b.1 || b.3 <= a.1), "{a:?} {names:?}");
        assert!(
            spots(&svg).iter().all(|s| s.0 + 12.0 <= a.0 || s.0 - 12.0 >= a.2 || s.1 + 12.0 <= a.1 || s.1 - 12.0 >= a.3),
            "{a:?} on a stop"
        );
    }
    let d = svg.split(r#"<path class="leg" d=""#).nth(1).unwrap().split('"').next().unwrap();
    for (x, y) in route_points(d) {
        assert!(names.iter().all(|a| x < a.0 || x > a.2 || y < a.1 || y > a.3), "the route runs through a name at {x} {y}");
    }
}

/// The bends of a path of "M x y l dx dy …" in tenths of a pixel, and the middles between them.
fn route_points(d: &str) -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    for part in d.split('M').skip(1) {
        let spaced = part.replace('l', " ").replace('-', " -");
        let numbers: Vec<f64> = spaced.split_whitespace().map(|n| n.parse().unwrap()).collect();
        let mut last = (numbers[0], numbers[1]);
        for step in numbers[2..].chunks(2) {
            for k in 0..=20 {
                let t = f64::from(k) / 20.0;
                all.push(((last.0 + t * step[0]) / 10.0, (last.1 + t * step[1]) / 10.0));
            }
            last = (last.0 + step[0], last.1 + step[1]);
        }
    }
    all
}

/// The rules are written down twice: beside what draws, and in the one style sheet that pages load.
#[test]
fn the_style_sheet_that_is_served_has_every_rule() {
    let served = include_str!("../../static/look.css");
    for rule in LOOK.lines().filter(|l| l.starts_with('.')) {
        assert!(served.contains(rule), "{rule}");
    }
}

fn barred(at: Position, reach_m: f64, name: &str) -> Barred {
    Barred { at: at.into(), reach_m, name: name.to_owned() }
}

fn number(element: &(String, Vec<(String, String)>), key: &str) -> f64 {
    attribute(element, key).unwrap().parse().unwrap()
}

/// Two closures of a mile round, so and so far apart: on the drawing as wide for their distance as they are.
#[test]
fn a_wide_closure_is_drawn_as_wide_as_it_is() {
    let (roads, stops) = (roads(), round_the_middle());
    let sketch = Sketch::route("r", "Route", line(&by_road(&roads), &stops));
    let closed = vec![barred(stops[2], 1600.0, "Larch Road"), barred(stops[4], 1600.0, "Mill Road"), barred(stops[1], 0.0, "Fen Road")];
    let svg = sketch.barred(closed).draw(Some(&roads));
    let all = sound(&svg, "r");
    let [a, b] = &all.iter().filter(|e| attribute(e, "class") == Some("reach")).collect::<Vec<_>>()[..] else {
        panic!("two circles: {svg}")
    };
    let apart = (number(a, "cx") - number(b, "cx")).hypot(number(a, "cy") - number(b, "cy"));
    let metres = Point::from(stops[2]).metres_to(stops[4].into());
    for circle in [a, b] {
        let wide = number(circle, "r") / apart * metres;
        assert!((wide / 1600.0 - 1.0).abs() < 0.01, "{wide} m");
    }
    assert_eq!(svg.matches(">closed</text>").count(), 3);
}

/// A place is drawn about 1,100 m to the north; a closure 1,300 m north of it comes in or not, by how wide it is.
#[test]
fn a_closure_that_reaches_into_the_picture_is_there_with_its_sign() {
    let (roads, pin) = (roads(), county().middle);
    let north = at(pin.lat() + 1300.0 / 111_195.0, pin.lon());
    for (reach_m, signs) in [(0.0, 0), (50.0, 0), (400.0, 1), (1600.0, 1)] {
        let svg = Sketch::place("p", "Barn", pin).barred(vec![barred(north, reach_m, "Larch Road")]).draw(Some(&roads));
        let all = sound(&svg, "p");
        let count = |class: &str| all.iter().filter(|e| attribute(e, "class") == Some(class)).count();
        assert_eq!((count("reach"), count("shut")), (signs, signs), "{reach_m} m");
        assert_eq!(svg.contains("Closed: Larch Road."), signs > 0, "{reach_m} m");
    }
}

#[test]
fn a_closed_road_in_the_picture_is_barred_with_a_word_and_one_far_away_is_not_there() {
    let roads = roads();
    let stops = round_the_middle();
    let sketch = Sketch::route("r", "Route", line(&by_road(&roads), &stops));
    let open = sketch.draw(Some(&roads));
    let closed = vec![barred(stops[2], 0.0, "Larch & Mill Road"), barred(at(10.0, 10.0), 0.0, "Far Road")];
    let svg = sketch.barred(closed).draw(Some(&roads));
    let all = sound(&svg, "r");
    assert_eq!(all.iter().filter(|e| attribute(e, "class") == Some("shut")).count(), 1);
    assert_eq!(svg.matches(">closed</text>").count(), 1, "not by a mark alone");
    assert!(svg.contains("Closed: Larch &amp; Mill Road.") && !svg.contains("Far Road"));
    assert_eq!(attribute(&all[0], "viewBox"), attribute(&well_formed(&open)[0], "viewBox"));
    assert!(!open.contains("shut"));
}
