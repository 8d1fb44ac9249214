//! The page of the whole bench: where is the work, and what is next?

use sheet::machine::{Check, HoldPoint, Need, Step};

use super::board::View as Board;
use crate::project::{Project, Remark, UnitName};

/// The page of the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Name of the machine, or of the folder.
    pub name: String,
    /// There is a machine file.
    pub has_machine: bool,
    /// Columns.
    pub units: Vec<UnitName>,
    /// The next hold point; none if the machine file has none.
    pub hold: Option<Hold>,
    /// Where to go on.
    pub next: Option<Next>,
    /// Assemblies in bring-up order, hold points between them.
    pub lines: Vec<Line>,
    /// What is wrong or doubtful in the machine file.
    pub remarks: Vec<Remark>,
    /// Some board is being judged.
    pub is_waiting: bool,
}

/// One line of the table.
#[derive(Clone, Debug, PartialEq)]
pub enum Line {
    /// An assembly.
    Assembly(Assembly),
    /// A hold point, by name.
    Hold(String),
}

/// An assembly and how it stands in each unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Assembly {
    /// Its name.
    pub name: String,
    /// Its boards: name, title and slot.
    pub boards: Vec<(String, Option<String>, Option<String>)>,
    /// One a unit.
    pub cells: Vec<Cell>,
}

/// How an assembly of a unit stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// In a word.
    pub standing: Standing,
    /// The figures behind it.
    pub figures: String,
}

/// How an assembly of a unit stands, worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// A finding is open in the ledger: by a verdict that somebody took up, or by hand.
    FindingOpen,
    /// A reading disagrees, and nobody has opened a finding.
    Disagrees,
    /// Readings are being judged.
    Waiting,
    /// No reading at all.
    NotLookedAt,
    /// Some boards have no readings, or nothing to hold them against.
    Begun,
    /// Every board was read with the supplies off, and nothing disagrees.
    ReadCold,
    /// The same, and some readings were taken with the supplies on.
    Powered,
    /// Every board is proven by a test, and nothing has happened since that takes trust away.
    Proven,
}

/// What the ledger says of a board of a unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// Findings that are open.
    pub open: usize,
    /// Findings that were mended.
    pub mended: usize,
    /// The test by which it is proven, if trust has not lapsed.
    pub proven: Option<String>,
}

/// What is known of the boards so far: a board's page, and what the ledger says of it in a unit.
pub struct Known<'a> {
    /// By the board's name.
    pub board: &'a dyn Fn(&str) -> Option<&'a Board>,
    /// By the unit's name and the board's.
    pub said: &'a dyn Fn(&str, &str) -> Said,
    /// Whether a permit to power stands for a unit, by its name.
    pub permit: &'a dyn Fn(&str) -> bool,
    /// Whether a person said of a unit, by its name, that a condition is met, and nothing has taken that away.
    pub met: &'a dyn Fn(&str, &str) -> bool,
}

impl Standing {
    /// The words.
    pub fn words(self) -> &'static str {
        match self {
            Standing::FindingOpen => "finding open",
            Standing::Disagrees => "disagrees",
            Standing::Waiting => "being judged",
            Standing::NotLookedAt => "not looked at",
            Standing::Begun => "begun",
            Standing::ReadCold => "read cold",
            Standing::Powered => "powered",
            Standing::Proven => "proven",
        }
    }
}

/// The next hold point.
#[derive(Clone, Debug, PartialEq)]
pub struct Hold {
    /// Its name.
    pub name: String,
    /// What it needs, and how that stands.
    pub needs: Vec<(String, NeedStanding)>,
}

/// How a condition stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NeedStanding {
    /// The readings show it.
    Shown,
    /// Not yet, and why.
    Open(String),
    /// A person says so; no reading can. Of these units nobody has, or not since something took it away.
    Yours(Vec<String>),
}

/// Where to go on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Next {
    /// The board.
    pub board: String,
    /// Why there.
    pub why: String,
}

/// Puts the page together.
pub fn overview(project: &Project, given: &Known<'_>) -> View {
    let known: Vec<(String, Option<&Board>)> = project
        .boards()
        .map(|b| (b.name.clone(), (given.board)(&b.name)))
        .collect();
    let of = |name: &str| known.iter().find(|(n, _)| n == name).and_then(|(_, b)| *b);
    let mut lines: Vec<Line> = Vec::new();
    let assembly = |a: &crate::project::Assembly| {
        Line::Assembly(Assembly {
            name: a.name.clone(),
            boards: a
                .boards
                .iter()
                .map(|b| (b.name.clone(), b.title.clone(), b.slot.clone()))
                .collect(),
            cells: (0..project.units.len())
                .map(|unit| {
                    let boards: Vec<_> = a.boards.iter().map(|b| of(&b.name)).collect();
                    let name = &project.units[unit].name;
                    let said = a.boards.iter().map(|b| (given.said)(name, &b.name));
                    cell(&boards, unit, &said.collect::<Vec<_>>())
                })
                .collect(),
        })
    };
    let mut shown: Vec<&str> = Vec::new();
    for step in &project.bring_up {
        match step {
            Step::Hold(hold) => lines.push(Line::Hold(hold.name.clone())),
            Step::Assembly(name) => {
                if let Some(a) = project.assemblies.iter().find(|a| a.name == *name)
                    && !shown.contains(&name.as_str())
                {
                    shown.push(name);
                    lines.push(assembly(a));
                }
            }
        }
    }
    let rest = project
        .assemblies
        .iter()
        .filter(|a| !shown.contains(&a.name.as_str()));
    lines.extend(rest.map(assembly));
    View {
        name: project.name.clone(),
        has_machine: project.has_machine,
        units: project.units.clone(),
        hold: next_hold(project, &of, given),
        next: next(project, &of, given.said),
        lines,
        remarks: project.remarks.clone(),
        is_waiting: known
            .iter()
            .any(|(_, b)| b.as_ref().is_none_or(|b| b.is_waiting)),
    }
}

fn cell(boards: &[Option<&Board>], unit: usize, said: &[Said]) -> Cell {
    let counts: Vec<_> = boards
        .iter()
        .flatten()
        .filter_map(|b| b.counts.get(unit))
        .collect();
    let sum = |of: fn(&super::board::Count) -> usize| counts.iter().map(|c| of(c)).sum::<usize>();
    let (all, disagree, edge) = (sum(|c| c.all()), sum(|c| c.disagree), sum(|c| c.edge));
    let odd = sum(|c| c.odd);
    let is_waiting = boards.iter().any(|b| b.is_none_or(|b| b.is_waiting));
    let open: usize = said.iter().map(|s| s.open).sum();
    let mended: usize = said.iter().map(|s| s.mended).sum();
    let proven: Vec<&str> = said.iter().filter_map(|s| s.proven.as_deref()).collect();
    let standing = if open > 0 {
        Standing::FindingOpen
    } else if disagree > 0 {
        Standing::Disagrees
    } else if !said.is_empty() && proven.len() == said.len() {
        Standing::Proven
    } else if is_waiting {
        Standing::Waiting
    } else if all == 0 {
        Standing::NotLookedAt
    } else if counts.iter().any(|c| c.all() == 0 || c.without > 0) {
        Standing::Begun
    } else if sum(|c| c.powered) > 0 {
        Standing::Powered
    } else {
        Standing::ReadCold
    };
    let mut figures = Vec::new();
    if all > 0 {
        figures.push(format!("{all} readings"));
    }
    if disagree > 0 {
        figures.push(format!("{disagree} disagree"));
    }
    if edge > 0 {
        figures.push(format!("{edge} at the edge"));
    }
    if odd > 0 {
        figures.push(format!("{odd} odd among like ones"));
    }
    if open > 0 {
        figures.push(format!("{open} {} open", findings(open)));
    }
    if mended > 0 {
        figures.push(format!("{mended} mended"));
    }
    match proven.as_slice() {
        [] => {}
        [by] if said.len() == 1 => figures.push(format!("by {by}")),
        some => figures.push(format!("{} of {} boards proven", some.len(), said.len())),
    }
    Cell {
        standing,
        figures: figures.join(", "),
    }
}

fn findings(count: usize) -> &'static str {
    if count == 1 { "finding" } else { "findings" }
}

/// The first hold point with a condition that the readings do not show to be met.
fn next_hold<'a>(
    project: &Project,
    of: &dyn Fn(&str) -> Option<&'a Board>,
    given: &Known<'_>,
) -> Option<Hold> {
    let mut before: Vec<&str> = Vec::new();
    for step in &project.bring_up {
        match step {
            Step::Assembly(name) => before.push(name),
            Step::Hold(hold) => {
                let boards: Vec<&str> = project
                    .assemblies
                    .iter()
                    .filter(|a| before.contains(&a.name.as_str()))
                    .flat_map(|a| a.boards.iter().map(|b| b.name.as_str()))
                    .collect();
                let held = stand(hold, &boards, project, of, given);
                if held.needs.is_empty()
                    || held.needs.iter().any(|(_, n)| *n != NeedStanding::Shown)
                {
                    return Some(held);
                }
            }
        }
    }
    None
}

fn stand<'a>(
    hold: &HoldPoint,
    before: &[&str],
    project: &Project,
    of: &dyn Fn(&str) -> Option<&'a Board>,
    given: &Known<'_>,
) -> Hold {
    let status = |need: &Need| {
        let Some(check) = need.check else {
            return yours(&need.text, &project.units, given.met);
        };
        if check == Check::ColdCard {
            return card_taken(&project.units, given.permit);
        }
        let about: Vec<&str> = match &need.board {
            Some(board) => vec![board.as_str()],
            None => before.to_vec(),
        };
        let owed: Vec<String> = about
            .iter()
            .flat_map(|board| owed(check, board, of(board), &project.units))
            .collect();
        match owed.as_slice() {
            [] => NeedStanding::Shown,
            [first] => NeedStanding::Open(first.clone()),
            [first, rest @ ..] => NeedStanding::Open(format!("{first}; and {} more", rest.len())),
        }
    };
    Hold {
        name: hold.name.clone(),
        needs: hold
            .needs
            .iter()
            .map(|n| (n.text.clone(), status(n)))
            .collect(),
    }
}

/// What only a person can say has to be said of every unit.
fn yours(need: &str, units: &[UnitName], met: &dyn Fn(&str, &str) -> bool) -> NeedStanding {
    let names = units.iter().map(|u| u.name.as_str());
    let owed: Vec<String> = names.filter(|u| !met(u, need)).map(str::to_owned).collect();
    match owed.is_empty() && !units.is_empty() {
        true => NeedStanding::Shown,
        false => NeedStanding::Yours(owed),
    }
}

/// A permit rests on the machine's cold card, passed or signed for; without one the card is open.
fn card_taken(units: &[UnitName], permit: &dyn Fn(&str) -> bool) -> NeedStanding {
    let without: Vec<&str> = units
        .iter()
        .map(|u| u.name.as_str())
        .filter(|u| !permit(u))
        .collect();
    match without.as_slice() {
        [] => NeedStanding::Shown,
        [unit] => NeedStanding::Open(format!("no permit to power stands for unit {unit}")),
        some => NeedStanding::Open(format!(
            "no permit to power stands for units {}",
            some.join(" and ")
        )),
    }
}

/// What a board still owes a check, in words.
fn owed(check: Check, name: &str, board: Option<&Board>, units: &[UnitName]) -> Vec<String> {
    let Some(board) = board.filter(|b| !b.is_waiting) else {
        return vec![format!("{name} is being judged")];
    };
    let unit = |u: usize| &units[u].name;
    match check {
        Check::ColdCard => Vec::new(),
        Check::Rails => board
            .rails
            .iter()
            .flat_map(|rail| {
                rail.agrees
                    .iter()
                    .enumerate()
                    .filter_map(move |(u, agrees)| match agrees {
                        Some(true) => None,
                        Some(false) => {
                            Some(format!("{name} {}: unit {} disagrees", rail.net, unit(u)))
                        }
                        None => Some(format!("{name} {}: not read in unit {}", rail.net, unit(u))),
                    })
            })
            .collect(),
        Check::Readings => board
            .counts
            .iter()
            .enumerate()
            .filter_map(|(u, count)| match (count.all(), count.disagree) {
                (0, _) => Some(format!("{name}: unit {} was not read", unit(u))),
                (_, 0) => None,
                (_, n) => Some(format!("{name}: {n} of unit {} disagree", unit(u))),
            })
            .collect(),
    }
}

/// The first board with a reading that disagrees or an open finding, else the first with odd readings where nothing is expected, else the first that was not
/// read in some unit, drawn ones before others.
fn next<'a>(
    project: &Project,
    of: &dyn Fn(&str) -> Option<&'a Board>,
    said: &dyn Fn(&str, &str) -> Said,
) -> Option<Next> {
    let units = &project.units;
    let found = project.boards().find_map(|b| {
        let board = of(&b.name)?;
        let odd: Vec<&str> = board
            .counts
            .iter()
            .zip(units)
            .filter(|(c, _)| c.disagree > 0)
            .map(|(_, u)| u.name.as_str())
            .collect();
        let open = units.iter().filter(|u| said(&u.name, &b.name).open > 0);
        let open: Vec<&str> = open.map(|u| u.name.as_str()).collect();
        let why = match odd.as_slice() {
            [] if open.is_empty() => return None,
            [] => format!("a finding is open on unit {}", open.join(" and ")),
            [one] => format!("unit {one} has readings that disagree"),
            many => format!("units {} have readings that disagree", many.join(" and ")),
        };
        Some(Next {
            board: b.name.clone(),
            why,
        })
    });
    let odd = || {
        project.boards().find_map(|b| {
            let is_odd = of(&b.name)?.counts.iter().any(|c| c.odd > 0);
            is_odd.then(|| Next {
                board: b.name.clone(),
                why: "like readings differ there".to_owned(),
            })
        })
    };
    found.or_else(odd).or_else(|| {
        let drawn = project.boards().filter(|b| b.sheet.is_some());
        let others = project.boards().filter(|b| b.sheet.is_none());
        drawn.chain(others).find_map(|b| {
            let board = of(&b.name)?;
            let unit = board.counts.iter().position(|c| c.all() == 0);
            let why = match unit {
                Some(u) => format!("unit {} was not looked at", units[u].name),
                None if units.is_empty() => "nothing was read here yet".to_owned(),
                None => return None,
            };
            Some(Next {
                board: b.name.clone(),
                why,
            })
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cold_card_is_open_until_a_permit_stands_for_every_unit() {
        let units = ["1", "2"].map(|name| UnitName {
            name: name.to_owned(),
            serial: None,
        });
        let open = |words: &str| NeedStanding::Open(words.to_owned());
        assert_eq!(
            card_taken(&units, &|_| false),
            open("no permit to power stands for units 1 and 2")
        );
        assert_eq!(
            card_taken(&units, &|unit| unit == "1"),
            open("no permit to power stands for unit 2")
        );
        assert_eq!(card_taken(&units, &|_| true), NeedStanding::Shown);
    }
}
