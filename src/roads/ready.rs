//! A road network made ready: what a server keeps in memory and asks.

use super::{
    address::Addresses,
    closed::{Closure, closed},
    contract::Hierarchy,
    graph::{Misfit, Network},
    leg::{Leg, leg},
    matrix::{self, Costs},
    point::Point,
    snap::{Grid, Snap},
    straight::Position,
    trace::Tracer,
};

/// Roads ready to be asked.
#[derive(Debug)]
pub struct Roads {
    network: Network,
    grid: Grid,
    hierarchy: Hierarchy,
    addresses: Addresses,
}

impl Roads {
    /// Makes a network ready: about two tenths of a second for a hundred thousand junctions.
    pub fn new(network: Network) -> Self {
        let (grid, hierarchy, addresses) = (Grid::new(&network), Hierarchy::new(&network), Addresses::new(&network));
        Self { network, grid, hierarchy, addresses }
    }

    /// The same roads with these closed; takes as long as making them ready did.
    ///
    /// # Errors
    /// [`Misfit`] when the roads become more than one file can hold.
    pub fn closing(&self, closures: &[Closure]) -> Result<Self, Misfit> {
        Ok(Self::new(closed(&self.network, &self.grid, closures)?))
    }

    pub fn network(&self) -> &Network {
        &self.network
    }

    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    pub fn hierarchy(&self) -> &Hierarchy {
        &self.hierarchy
    }

    pub fn addresses(&self) -> &Addresses {
        &self.addresses
    }

    /// Where a position meets the road; `None` when none is within reach.
    pub fn snap(&self, p: Position) -> Option<Snap> {
        self.grid.nearest(&self.network, Point::from(p))
    }

    /// Name of the nearest road and metres to it, as a check of a pin: "48 m from Larch Road".
    pub fn nearest_road(&self, p: Position) -> Option<(&str, f64)> {
        self.snap(p).map(|s| (self.network.name(s.edge), s.off_m))
    }

    /// Costs of the drives from each of the first to each of the others, on the road itself.
    pub fn costs(&self, from: &[Snap], to: &[Snap]) -> Costs {
        matrix::between(&self.network, &self.hierarchy, from, to)
    }

    /// The legs of a route from stop to stop, with their shapes. A leg without a way on the road is `None`.
    pub fn legs(&self, stops: &[Position]) -> Vec<Option<Leg>> {
        let snaps: Vec<Option<Snap>> = stops.iter().map(|p| self.snap(*p)).collect();
        let mut tracer = Tracer::new(&self.network, &self.hierarchy);
        snaps.windows(2).map(|w| leg(&self.network, &mut tracer, w[0].as_ref()?, w[1].as_ref()?)).collect()
    }
}
