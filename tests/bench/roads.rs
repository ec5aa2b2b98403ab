//! What the roads cost: import, preparation, drives between stops beside Dijkstra's plain search, legs and drawings.
//!
//! `cargo bench --bench roads` makes an invented county of 90 miles each way and prints processor time, and ratios within the one run. A number after
//! `--` is another size in miles; the name of an extract (`.osm.pbf`) takes that instead.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on has failed")]

use embertide::roads::{
    Drives, Estimate, Grid, Hierarchy, Network, Point, Position, Roads, Snap, encode, import,
    invent::County,
    matrix,
    sketch::{Line, Mark, Sketch},
};
use std::{env, fs, hint::black_box, io::Cursor, sync::Arc, time::Instant};

/// Processor time of this process so far, all threads, in seconds.
fn processor() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap().split_whitespace().collect();
    let ticks: f64 = fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap();
    ticks / 100.0
}

/// Most memory this process has held, in megabytes.
fn most_memory() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1_024.0
}

/// Does something often enough to be measured (half a second or once), prints processor time and time on the clock, and gives the processor time.
fn cost<T>(what: &str, mut work: impl FnMut() -> T) -> (T, f64) {
    let (clock, before) = (Instant::now(), processor());
    let mut times = 0_u32;
    let done = loop {
        let done = black_box(work());
        times += 1;
        if clock.elapsed().as_secs_f64() > 0.5 {
            break done;
        }
    };
    let (cpu, wall) = ((processor() - before) / f64::from(times), clock.elapsed().as_secs_f64() / f64::from(times));
    println!("{what:<44} {:>10.2} ms of processor {:>10.2} ms on the clock", cpu * 1e3, wall * 1e3);
    (done, cpu)
}

/// A seeded source of chance (an LCG with Knuth's MMIX constants).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % n
    }
}

/// Stops on roads all over the network.
fn stops(network: &Network, grid: &Grid, n: usize) -> Vec<Snap> {
    let mut dice = Dice(5);
    let one = |dice: &mut Dice| {
        let shape = network.shape(u32::try_from(dice.below(network.edges().len())).unwrap());
        let p = shape[dice.below(shape.len())];
        let aside = |dice: &mut Dice| i64::try_from(dice.below(4_000)).unwrap();
        let q = Point::new(i64::from(p.lat()) + aside(dice), i64::from(p.lon()) + aside(dice)).unwrap();
        grid.nearest(network, q).or_else(|| grid.nearest(network, p)).unwrap()
    };
    (0..n).map(|_| one(&mut dice)).collect()
}

fn extract() -> Vec<u8> {
    let named = env::args().skip(1).find(|a| !a.starts_with('-')).unwrap_or_else(|| "90".to_owned());
    match named.parse::<u16>() {
        Ok(miles) => cost("an invented county is made", || County { wide: miles, high: miles, ..County::default() }.extract()).0,
        Err(_) => fs::read(named).unwrap(),
    }
}

fn drives(network: &Network, hierarchy: &Hierarchy, stops: &[Snap]) {
    let mut once = 0.0;
    for n in [150, 500, 1_500, 3_000] {
        let some = &stops[..n];
        let (quick, cpu) = cost(&format!("{n} x {n} drives"), || matrix::between(network, hierarchy, some, some));
        if n == 150 {
            let (plain, slow) = cost("150 x 150 drives, a plain search a stop", || matrix::plainly(network, some, some));
            assert_eq!(quick, plain, "every cell is equal");
            once = slow / 150.0;
        }
        println!("    a plain search a stop takes {:.0} times as long", once * f64::from(u32::try_from(n).unwrap()) / cpu.max(1e-6));
    }
}

fn pictures(roads: &Arc<Roads>, stops: &[Snap]) {
    let drives = Drives::new(Some(Arc::clone(roads)), Estimate::default()).unwrap();
    let round: Vec<Position> = stops[..13].iter().chain(&stops[..1]).map(|s| s.at.into()).collect();
    let (legs, _) = cost("the legs of a route of 12 stops", || drives.route(&round));
    let mark = |(i, s): (usize, &Snap)| Mark { at: s.at, label: i.to_string(), name: String::new(), depot: i == 0 };
    let marks = stops[..13].iter().enumerate().map(mark).collect();
    let sketch = Sketch::route("r", "Route", Line { name: String::new(), legs, marks });
    let (svg, _) = cost("its drawing", || sketch.draw(Some(roads)));
    println!("    {} bytes", svg.len());
    let (near, _) = cost("the drawing of one place", || Sketch::place("p", "Place", stops[0].at.into()).draw(Some(roads)));
    println!("    {} bytes", near.len());
    if let Some(house) = roads.network().parts().houses.first() {
        let asked = format!("{} {}", house.number, house.street);
        cost("an address is looked up", || roads.addresses().find(&asked, 5));
    }
}

fn main() {
    let bytes = extract();
    println!("{:.1} MB of extract", f64::from(u32::try_from(bytes.len()).unwrap()) / 1e6);
    let ((network, report), _) = cost("import", || import(Cursor::new(&bytes), None).unwrap());
    println!("    {} junctions, {} pieces, at most {:.0} MB held so far", report.junctions, report.pieces, most_memory());
    let (file, _) = cost("the road file is written to memory", || encode(&network));
    println!("    {:.1} MB", f64::from(u32::try_from(file.len()).unwrap()) / 1e6);
    cost("the road file is read", || embertide::roads::decode(&file).unwrap());
    let (grid, _) = cost("the grid is made", || Grid::new(&network));
    let (hierarchy, _) = cost("the hierarchy is made", || Hierarchy::new(&network));
    println!("    {} shortcuts, a core of {}", hierarchy.shortcuts(), hierarchy.core());
    let kb = |n: usize| n / 1_000;
    println!("    kB held: network {}, grid {}, hierarchy {}", kb(network.bytes()), kb(grid.bytes()), kb(hierarchy.bytes()));
    let stops = stops(&network, &grid, 3_000);
    cost("3000 stops are put on the road", || stops.iter().filter_map(|s| grid.nearest(&network, s.at)).count());
    drives(&network, &hierarchy, &stops);
    drop((grid, hierarchy));
    pictures(&Arc::new(Roads::new(network)), &stops);
}
