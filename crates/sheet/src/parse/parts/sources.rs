//! Supplies and loads.

use units::{Amps, Ohms};

use super::ends;
use crate::parse::Reader;
use crate::text::{Bound, Line, Node, Wanted};
use crate::{Draw, Kind, NetId};

pub(super) fn supply(line: &mut Line, _: &Node, reader: &mut Reader) -> Option<Kind> {
    let volts = line.required(Wanted("volts", Bound::Any), &mut reader.remarks);
    let [plus, minus] = ["plus", "minus"].map(|pin| reader.net_of(line, pin));
    let remarks = &mut reader.remarks;
    let ohms: Option<Ohms> = line.quantity(Wanted("ohms", Bound::NotNegative), remarks);
    let limit = line.quantity(Wanted("limit", Bound::Positive), remarks);
    let off = line.quantity(Wanted("off", Bound::Positive), remarks);
    Some(Kind::Supply {
        volts: volts?,
        plus: plus?,
        minus: minus?,
        ohms,
        limit,
        off,
    })
}

/// Ideal sources in a loop have no solution. Called last, when nothing else is wrong with the line.
pub(super) fn forbid_loop(kind: &Kind, line: &mut Line, reader: &mut Reader) {
    if join_ideal(kind, reader) {
        line.error(
            &mut reader.remarks,
            line.span(),
            format!(
                "{} closes a loop of ideal sources.",
                line.what().replacen("supply", "Supply", 1)
            ),
            "Give it its source resistance, such as ohms=0.1.",
        );
    }
}

/// Notes an ideal source; true if its nets were joined by ideal sources before.
pub(in crate::parse) fn join_ideal(kind: &Kind, reader: &mut Reader) -> bool {
    let Kind::Supply {
        plus, minus, ohms, ..
    } = kind
    else {
        return false;
    };
    let is_ideal = ohms.is_none_or(|o| o.0 == 0.0);
    is_ideal && reader.closes_loop(*plus, *minus)
}

pub(super) fn load(line: &mut Line, node: &Node, reader: &mut Reader) -> Option<Kind> {
    let ends = ends(line, reader);
    let remarks = &mut reader.remarks;
    let given = [line.has_property("amps"), line.has_property("ohms")];
    let amps: Option<Amps> = line.quantity(Wanted("amps", Bound::Any), remarks);
    let ohms: Option<Ohms> = line.quantity(Wanted("ohms", Bound::Positive), remarks);
    let cold = line.truth("cold", remarks).unwrap_or(false);
    if given[0] == given[1] {
        let (word, verb) = (
            line.what().replacen("load", "Load", 1),
            if given[0] { "both" } else { "neither" },
        );
        line.error(
            remarks,
            node.span,
            format!(
                "{word} has {verb} `amps=` {} `ohms=`.",
                if given[0] { "and" } else { "nor" }
            ),
            "Give one of them: amps=0.6 for a constant current, ohms=20 for a resistance.",
        );
    }
    Some(Kind::Load {
        ends: ends?,
        draw: amps.map(Draw::Amps).or(ohms.map(Draw::Ohms))?,
        cold,
    })
}

impl Reader<'_> {
    /// Joins two nets by an ideal source (union-find); true if ideal sources joined them before.
    fn closes_loop(&mut self, plus: NetId, minus: NetId) -> bool {
        let count = self.sheet.nets.len();
        let known = self.ideal.len().min(count);
        self.ideal.truncate(known);
        self.ideal.extend(known..count);
        let root = |forest: &[usize], mut net: usize| {
            while forest[net] != net {
                net = forest[net];
            }
            net
        };
        let [a, b] = [plus, minus].map(|net| root(&self.ideal, net.index()));
        self.ideal[a] = b;
        a == b
    }
}
