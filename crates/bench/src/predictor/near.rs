//! Readings of one particular unit: the one to which what was read points.

use circuit::Node;
use diagnose::{Effect, Moved};
use predict::ChangedBoard;

use super::centre::{NEARLY, centre};
use super::{Done, Predictor};

impl Predictor {
    /// What places read in the unit whose variables stand at `at`, with these changes made.
    pub(super) fn unit_near(
        &self,
        done: &[&Done],
        at: &[(u32, f64)],
        places: &[usize],
    ) -> Vec<Effect> {
        let wanted = |condition| {
            places
                .iter()
                .any(|p| self.places[*p].condition == condition)
        };
        let units: Vec<Option<ChangedBoard>> = self
            .bases
            .iter()
            .enumerate()
            .map(|(condition, base)| {
                let (board, _) = base.board.as_ref().filter(|_| wanted(condition))?;
                let value = |name: &u32| {
                    let found = at.binary_search_by_key(name, |a| a.0);
                    found.map_or(0.0, |i| at[i].1)
                };
                let z = base.names.iter().map(value).collect();
                let edits = self.edits(&board.network, done);
                ChangedBoard::of_unit(board, &edits, z).ok()
            })
            .collect();
        places
            .iter()
            .map(|&place| self.read_near(done, &units, place))
            .collect()
    }

    fn read_near(&self, done: &[&Done], units: &[Option<ChangedBoard>], place: usize) -> Effect {
        let at = &self.places[place];
        let base = &self.bases[at.condition];
        let (Some(unit), Some((board, _))) = (&units[at.condition], &base.board) else {
            return Effect::Unknown;
        };
        let Some(leads) = self.nodes(at, &board.network) else {
            return Effect::Unknown;
        };
        let leads = done.iter().fold(leads, |leads, one| exchanged(one, leads));
        let near = self.base_of(place).map(|(_, before)| &before.shown);
        let Some(found) = centre(unit, &at.question, leads, &base.names, near) else {
            return Effect::Unknown;
        };
        match found.reading {
            None => Effect::OverRange,
            Some(mean) => Effect::Moved(Moved {
                mean,
                slopes: found.slopes,
                sd: found.sd,
                bend: NEARLY,
                border: found.border,
            }),
        }
    }
}

/// Where the leads are if nets are exchanged.
fn exchanged(done: &Done, leads: (Node, Node)) -> (Node, Node) {
    let Done::Exchange(a, b) = done else {
        return leads;
    };
    let there = |n: Node| match n {
        n if n == *a => *b,
        n if n == *b => *a,
        n => n,
    };
    (there(leads.0), there(leads.1))
}
