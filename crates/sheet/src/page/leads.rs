//! Leads: joined by plug, insulated, fetched elsewhere, to be decided; and what would mislead.

use dashwright_planner::{Fetch, Join, LeadEnd, Load, Loose, Owner, Socketed, Wiring};

use super::{ColourView, once, sentence};
use crate::job::Job;
use crate::words::{self, spoken};

/// Everything about leads.
#[derive(Default)]
pub(crate) struct Leads {
    pub(super) groups: Vec<JoinGroup>,
    pub(super) insulated: Vec<LooseRow>,
    pub(super) undecided: Vec<LooseRow>,
    pub(super) fetched: Vec<FetchRow>,
    pub(super) plugs: Vec<PlugRow>,
    pub(super) traps: Vec<String>,
    pub(super) never: Vec<String>,
    /// Records that nobody has measured and that supply or speaker joins rest on.
    pub(super) meter_first: Vec<String>,
}

/// The joins of one plug.
pub(crate) struct JoinGroup {
    pub(super) title: String,
    pub(super) rows: Vec<JoinRow>,
}

/// A join.
pub(crate) struct JoinRow {
    pub(super) way: String,
    pub(super) function: String,
    pub(super) adapter: Vec<EndView>,
    pub(super) radio: Vec<EndView>,
    pub(super) colours: Colours,
    pub(super) beware: Vec<String>,
}

/// Whether the colours of a join can be told and agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Colours {
    Same,
    Differ,
    NotRecorded,
}

/// A lead.
pub(crate) struct EndView {
    pub(super) whose: String,
    pub(super) colour: Option<ColourView>,
    pub(super) detail: String,
}

/// A lead without a partner.
pub(crate) struct LooseRow {
    pub(super) lead: EndView,
    pub(super) function: String,
    pub(super) why: &'static str,
}

/// A lead whose circuit is taken from elsewhere.
pub(crate) struct FetchRow {
    pub(super) lead: EndView,
    pub(super) function: String,
    pub(super) place: String,
}

/// A part in a plug or a socket.
pub(crate) struct PlugRow {
    pub(super) part: String,
    pub(super) place: String,
    pub(super) passes: bool,
}

impl Leads {
    pub(super) fn of(job: &Job<'_>) -> Self {
        let Some(work) = job.work else { return Self::default() };
        let Wiring { joins, insulated, fetched, undecided, sockets, traps, refused } = &work.wiring;
        let weak = joins.iter().filter_map(|join| join.meter_first.as_ref());
        Self {
            groups: groups(job, joins),
            insulated: insulated.iter().map(|one| loose(job, one)).collect(),
            undecided: undecided.iter().map(|one| loose(job, one)).collect(),
            fetched: fetched.iter().map(|one| fetch(job, one)).collect(),
            plugs: sockets.iter().map(|one| plug(job, one)).collect(),
            traps: once(traps.iter().map(|trap| sentence(&words::trap(trap)))),
            never: once(refused.iter().map(|mismatch| sentence(&words::mismatch(mismatch)))),
            meter_first: once(weak.map(|weak| format!("{} ({})", weak.record, spoken(weak.grade.name())))),
        }
    }
}

/// Joins by the plug that the adapter's lead comes from, in the order in which they are joined; what comes from no plug last.
fn groups(job: &Job<'_>, joins: &[Join]) -> Vec<JoinGroup> {
    let mut groups: Vec<JoinGroup> = Vec::new();
    let mut rest = JoinGroup { title: "Made by a module, or at a socket".to_owned(), rows: Vec::new() };
    for join in joins {
        let way = join.ends.iter().find_map(|end| end.way.as_ref());
        let row = row(job, join);
        let Some(way) = way else {
            rest.rows.push(row);
            continue;
        };
        let title = format!("Plug {}", job.snapshot.term_name(way.family.as_str()));
        match groups.iter_mut().find(|group| group.title == title) {
            Some(group) => group.rows.push(row),
            None => groups.push(JoinGroup { title, rows: vec![row] }),
        }
    }
    if !rest.rows.is_empty() {
        groups.push(rest);
    }
    groups
}

fn row(job: &Job<'_>, join: &Join) -> JoinRow {
    let is_radio = |end: &&LeadEnd| matches!(end.owner, Owner::Radio | Owner::Socket(_));
    let ways = join.ends.iter().filter_map(|end| end.way.as_ref()).map(|way| way.way.to_string());
    let coloured = join.ends.iter().all(|end| end.colour.is_some());
    JoinRow {
        way: once(ways).join(", "),
        function: spoken(join.function.name()),
        adapter: join.ends.iter().filter(|end| !is_radio(end)).map(|end| view(job, end)).collect(),
        radio: join.ends.iter().filter(is_radio).map(|end| view(job, end)).collect(),
        colours: match (coloured, join.same_colour) {
            (false, _) => Colours::NotRecorded,
            (true, true) => Colours::Same,
            (true, false) => Colours::Differ,
        },
        beware: beware(join),
    }
}

fn beware(join: &Join) -> Vec<String> {
    let mut texts = Vec::new();
    texts.extend(join.meter_first.is_some().then(|| "METER FIRST".to_owned()));
    texts.extend((join.ends.len() > 2).then(|| "all in one splice".to_owned()));
    texts.extend(match join.load {
        Load::NotWeighed => None,
        Load::Fits { carries, needs } => Some(format!("carries {carries}, radio draws {needs}")),
        Load::TooThin { carries, needs } => Some(format!("TOO THIN: carries {carries}, radio draws {needs}")),
        Load::Unknown => Some("current not recorded".to_owned()),
    });
    texts
}

fn view(job: &Job<'_>, end: &LeadEnd) -> EndView {
    let LeadEnd { owner, printed: _, colour, gauge, current_limit: _, way } = end;
    let (whose, no_colour) = match owner {
        Owner::Radio => ("radio".to_owned(), "no recorded colour".to_owned()),
        Owner::Socket(socket) => ("radio".to_owned(), format!("{} socket", spoken(socket.name()))),
        Owner::Part(part) => (job.number(part), "no recorded colour".to_owned()),
        Owner::ModuleInput(part) => (job.number(part), "its input; see its own sheet".to_owned()),
        Owner::Car if way.is_some() => ("car's own wire".to_owned(), "no recorded colour".to_owned()),
        Owner::Car => ("car".to_owned(), "no recorded colour".to_owned()),
    };
    let mut detail = Vec::new();
    detail.extend(colour.is_none().then_some(no_colour));
    detail.extend(gauge.map(|gauge| gauge.to_string()));
    EndView { whose, colour: colour.map(ColourView::of), detail: detail.join(", ") }
}

fn loose(job: &Job<'_>, loose: &Loose) -> LooseRow {
    let Loose { lead, function, why } = loose;
    LooseRow { lead: view(job, lead), function: spoken(function.name()), why: words::loose_reason(*why) }
}

fn fetch(job: &Job<'_>, fetch: &Fetch) -> FetchRow {
    let Fetch { lead, function, found_at, way } = fetch;
    let place = match (found_at, way) {
        (Some(place), _) => place.to_string(),
        (None, Some(way)) => {
            format!("way {} of the plug {}", way.way, job.snapshot.term_name(way.family.as_str()))
        }
        (None, None) => "where is not recorded: see the vehicle maker's service information".to_owned(),
    };
    FetchRow { lead: view(job, lead), function: spoken(function.name()), place }
}

fn plug(job: &Job<'_>, socketed: &Socketed) -> PlugRow {
    let Socketed { part, plug, socket, passes_through } = socketed;
    let place = match (plug, socket) {
        (Some(family), _) => format!("factory plug {}", job.snapshot.term_name(family.as_str())),
        (None, Some(socket)) => format!("the radio's {} socket", spoken(socket.name())),
        (None, None) => String::new(),
    };
    PlugRow { part: job.number(part), place, passes: *passes_through }
}
