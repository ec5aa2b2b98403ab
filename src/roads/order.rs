//! Junctions and pieces of road put in an order in which neighbours lie close together in memory.

use super::{
    graph::{Edge, Parts, shape},
    point::{Extent, Point, index},
};

/// Side of the square that the curve runs through.
const SIDE: u32 = 1 << 16;

/// Distance along Hilbert's curve of a cell in a square of [`SIDE`] cells (the usual bit-by-bit algorithm).
fn hilbert(mut x: u32, mut y: u32) -> u32 {
    let (mut along, mut s) = (0_u32, SIDE / 2);
    while s > 0 {
        let (right, up) = (u32::from(x & s > 0), u32::from(y & s > 0));
        along = along.wrapping_add(s.wrapping_mul(s).wrapping_mul((3 * right) ^ up));
        if up == 0 {
            if right == 1 {
                (x, y) = ((SIDE - 1) - x, (SIDE - 1) - y);
            }
            std::mem::swap(&mut x, &mut y);
        }
        s /= 2;
    }
    along
}

fn cell(p: Point, extent: &Extent) -> u32 {
    let span = (i64::from(extent.north) - i64::from(extent.south)).max(i64::from(extent.east) - i64::from(extent.west)) + 1;
    let of = |v: i32, from: i32| u32::try_from((i64::from(v) - i64::from(from)) * i64::from(SIDE - 1) / span).unwrap_or(0);
    hilbert(of(p.lon(), extent.west), of(p.lat(), extent.south))
}

/// Keeps the junctions with `keep`, and the pieces between them, in the new order. Names, towns and the rest stay.
pub(super) fn keep_in_order(parts: Parts, keep: &[bool]) -> Parts {
    let Some(extent) = Extent::of(parts.nodes.iter().copied()) else { return parts };
    let mut nodes: Vec<(u32, u32)> =
        (0..parts.nodes.len()).filter(|&v| keep[v]).map(|v| (cell(parts.nodes[v], &extent), index(v))).collect();
    nodes.sort_unstable();
    let mut new = vec![u32::MAX; parts.nodes.len()];
    for (place, (_, old)) in (0..).zip(&nodes) {
        new[*old as usize] = place;
    }
    let kept = |e: &Edge| new[e.a as usize] != u32::MAX && new[e.b as usize] != u32::MAX;
    let mut edges: Vec<u32> = (0..index(parts.edges.len())).filter(|&i| kept(&parts.edges[i as usize])).collect();
    edges.sort_by_key(|&i| (new[parts.edges[i as usize].a as usize], new[parts.edges[i as usize].b as usize]));
    let mut points = Vec::with_capacity(parts.shape.len());
    let moved = edges.iter().map(|&i| {
        let old = parts.edges[i as usize];
        let begins = index(points.len());
        points.extend_from_slice(shape(&parts.edges, &parts.shape, i as usize));
        Edge { a: new[old.a as usize], b: new[old.b as usize], shape: begins, ..old }
    });
    let edges = moved.collect();
    Parts { nodes: nodes.iter().map(|n| parts.nodes[n.1 as usize]).collect(), edges, shape: points, ..parts }
}
