//! The figures of all rounds: medians, ratios taken within a round, goals, and the file that they go to.

use serde_json::Value;

use crate::{Asked, Outcome, Round, Servers, publish};

/// A figure and its goal: at most, or at least, so much.
enum Goal {
    Most(f64),
    Least(f64),
}

/// What the figures ought to be.
const GOALS: [(&str, Goal); 8] = [
    ("lookup_cpu_over_floor", Goal::Most(1.25)),
    ("lookup_growth", Goal::Most(1.2)),
    ("p99_over_floor_at_half_load", Goal::Most(3.0)),
    ("plan_cpu_over_lookup", Goal::Most(3.0)),
    ("sqlite_cpu_ratio", Goal::Least(5.0)),
    ("sqlite_throughput_ratio", Goal::Least(4.0)),
    ("postgres_cpu_ratio", Goal::Least(8.0)),
    ("postgres_throughput_ratio", Goal::Least(6.0)),
];

/// All rounds.
#[derive(Default)]
pub(crate) struct Table {
    sizes: Vec<usize>,
    pub(crate) rounds: Vec<Round>,
    pub(crate) memory: Vec<Servers<u64>>,
    pub(crate) resident_per_line: u64,
    pub(crate) start_seconds: f64,
    pub(crate) beside: Option<publish::Beside>,
}

/// One of the servers.
type Pick = for<'a> fn(&'a Servers<Asked>) -> Option<&'a Asked>;

/// The rivals by the beginning of their figures' names.
const RIVALS: [(&str, Pick); 3] = [
    ("sqlite", |it| Some(&it.joined)),
    ("sqlite_blob", |it| Some(&it.encoded)),
    ("postgres", |it| it.postgres.as_ref()),
];

impl Table {
    pub(crate) fn new(sizes: &[usize]) -> Self {
        Self { sizes: sizes.to_vec(), ..Self::default() }
    }

    /// The median over the rounds; nothing where no round has the figure.
    fn median(&self, figure: impl Fn(&Round) -> Option<f64>) -> Option<f64> {
        median(self.rounds.iter().filter_map(figure).collect())
    }

    fn figures(&self) -> Vec<(String, Option<f64>)> {
        let mut figures = Vec::new();
        if !self.rounds.is_empty() {
            figures.extend(self.own());
            figures
                .extend(self.sizes.iter().enumerate().flat_map(|(place, lines)| self.of_size(place, *lines)));
        }
        if let Some(it) = &self.beside {
            let beside = [
                ("lookup_idle_p50_milliseconds", it.idle_p50),
                ("lookup_idle_p99_milliseconds", it.idle_p99),
                ("lookup_beside_publish_p50_milliseconds", it.publish_p50),
                ("lookup_beside_publish_p99_milliseconds", it.publish_p99),
                ("lookup_beside_publish_max_milliseconds", it.publish_max),
                ("publish_seconds", it.publish_seconds),
            ];
            figures.extend(beside.map(|(name, figure)| (name.to_owned(), Some(figure))));
        }
        figures
    }

    /// The figures of the service and the floor, and the ratios that have goals.
    fn own(&self) -> Vec<(String, Option<f64>)> {
        let small = |round: &Round| round.sizes.first().map(|it| it.service.most.cpu_microseconds);
        let large = |round: &Round| round.sizes.last().map(|it| it.service.most.cpu_microseconds);
        let floor = |round: &Round| round.floor.most.cpu_microseconds;
        let named = [
            ("echo_cpu_microseconds", self.median(|r| Some(floor(r)))),
            ("echo_calls_per_second", self.median(|r| Some(r.floor.most.calls_per_second))),
            ("echo_half_p50_milliseconds", self.median(|r| Some(r.floor.half.p50))),
            ("echo_half_p99_milliseconds", self.median(|r| Some(r.floor.half.p99))),
            ("lookup_cpu_microseconds", self.median(large)),
            ("lookup_calls_per_second", self.median(|r| Some(r.sizes.last()?.service.most.calls_per_second))),
            ("lookup_cpu_over_floor", self.median(|r| Some(small(r)? / floor(r)))),
            ("lookup_growth", self.median(|r| Some(large(r)? / small(r)?))),
            (
                "p99_over_floor_at_half_load",
                self.median(|r| Some(r.sizes.last()?.service.half.p99 / r.floor.half.p99)),
            ),
            ("plan_cpu_microseconds", self.median(|r| Some(r.plan.cpu_microseconds))),
            ("plan_cpu_over_lookup", self.median(|r| Some(r.plan.cpu_microseconds / small(r)?))),
            ("plan_cpu_over_floor", self.median(|r| Some(r.plan.cpu_microseconds / floor(r)))),
            ("plan_calls_per_second", self.median(|r| Some(r.plan.calls_per_second))),
            ("plan_reply_bytes", self.median(|r| Some(r.plan.reply_bytes))),
            ("cart_cpu_microseconds", self.median(|r| Some(r.cart.cpu_microseconds))),
            ("carts_per_second", self.median(|r| Some(r.cart.calls_per_second))),
            ("reply_bytes", self.median(|r| Some(r.sizes.first()?.service.most.reply_bytes))),
            ("resident_bytes_per_line", Some(self.resident_per_line as f64)),
            ("warm_start_seconds", Some(self.start_seconds)),
        ];
        let mut figures: Vec<_> = named.into_iter().map(|(name, figure)| (name.to_owned(), figure)).collect();
        for (rival, pick) in RIVALS {
            let worst = |ratio: &dyn Fn(usize) -> Option<f64>| {
                (0..self.sizes.len()).filter_map(ratio).min_by(f64::total_cmp)
            };
            figures.push((format!("{rival}_cpu_ratio"), worst(&|place| self.cpu_ratio(place, pick))));
            figures.push((
                format!("{rival}_throughput_ratio"),
                worst(&|place| self.throughput_ratio(place, pick)),
            ));
        }
        figures
    }

    /// How many times less CPU than a rival ours takes for a call.
    fn cpu_ratio(&self, place: usize, pick: Pick) -> Option<f64> {
        self.median(|round| {
            let servers = round.sizes.get(place)?;
            Some(pick(servers)?.most.cpu_microseconds / servers.service.most.cpu_microseconds)
        })
    }

    /// How many times as many calls as a rival ours answers.
    fn throughput_ratio(&self, place: usize, pick: Pick) -> Option<f64> {
        self.median(|round| {
            let servers = round.sizes.get(place)?;
            Some(servers.service.most.calls_per_second / pick(servers)?.most.calls_per_second)
        })
    }

    /// Every server on a dataset of one size.
    fn of_size(&self, place: usize, lines: usize) -> Vec<(String, Option<f64>)> {
        let mut figures = Vec::new();
        let memory = self.memory.get(place);
        let of = |name: &str, pick: Pick, memory: Option<u64>| {
            let median =
                |figure: fn(&Asked) -> f64| self.median(|round| Some(figure(pick(round.sizes.get(place)?)?)));
            [
                (format!("{name}_cpu_microseconds_{lines}"), median(|it| it.most.cpu_microseconds)),
                (format!("{name}_calls_per_second_{lines}"), median(|it| it.most.calls_per_second)),
                (format!("{name}_half_p50_milliseconds_{lines}"), median(|it| it.half.p50)),
                (format!("{name}_half_p99_milliseconds_{lines}"), median(|it| it.half.p99)),
                (format!("{name}_memory_bytes_{lines}"), memory.map(|bytes| bytes as f64)),
            ]
        };
        figures.extend(of("lookup", |it| Some(&it.service), memory.map(|it| it.service)));
        for (rival, pick) in RIVALS {
            let memory = memory.and_then(|it| match rival {
                "sqlite" => Some(it.joined),
                "sqlite_blob" => Some(it.encoded),
                _ => it.postgres,
            });
            figures.extend(of(rival, pick, memory));
            figures.push((format!("{rival}_cpu_ratio_{lines}"), self.cpu_ratio(place, pick)));
            figures.push((format!("{rival}_throughput_ratio_{lines}"), self.throughput_ratio(place, pick)));
        }
        figures
    }

    /// For a person: the servers beside each other, the goals, and every figure.
    pub(crate) fn print(&self) {
        let figures = self.figures();
        let find = |name: &str| figures.iter().find(|(own, _)| own == name).and_then(|(_, figure)| *figure);
        println!("over a socket, {} rounds, median", self.rounds.len());
        if !self.rounds.is_empty() {
            self.print_servers(&find);
        }
        for (name, goal) in GOALS {
            let Some(figure) = find(name) else { continue };
            let (words, met) = match goal {
                Goal::Most(most) => (format!("at most {most}"), figure <= most),
                Goal::Least(least) => (format!("at least {least}"), figure >= least),
            };
            println!("  {name:32} {figure:>8.2}  goal {words}: {}", if met { "met" } else { "missed" });
        }
        for (name, figure) in &figures {
            println!("  {name:44} {:>16}", told(*figure, 3));
        }
    }

    /// The servers beside each other, as README.md has them.
    fn print_servers(&self, find: &dyn Fn(&str) -> Option<f64>) {
        println!(
            "| server | vehicle lines | CPU a call | calls in a second | p50, p99 at half of it | memory | ours: CPU, calls |"
        );
        println!("|---|---|---|---|---|---|---|");
        println!(
            "| echo of the same bytes | | {} µs | {} | {}, {} ms | | |",
            told(find("echo_cpu_microseconds"), 1),
            told(find("echo_calls_per_second"), 0),
            told(find("echo_half_p50_milliseconds"), 2),
            told(find("echo_half_p99_milliseconds"), 2),
        );
        let servers = ["lookup"].into_iter().chain(RIVALS.iter().map(|(name, _)| *name));
        for (server, lines) in servers.flat_map(|server| self.sizes.iter().map(move |lines| (server, lines)))
        {
            let of = |name: &str, digits| told(find(&format!("{server}_{name}_{lines}")), digits);
            let memory = find(&format!("{server}_memory_bytes_{lines}")).map(|bytes| bytes / 1e6);
            println!(
                "| {server} | {lines} | {} µs | {} | {}, {} ms | {} MB | {}, {} |",
                of("cpu_microseconds", 1),
                of("calls_per_second", 0),
                of("half_p50_milliseconds", 2),
                of("half_p99_milliseconds", 2),
                told(memory, 0),
                of("cpu_ratio", 1),
                of("throughput_ratio", 1),
            );
        }
    }

    pub(crate) fn write(&self) -> Outcome<()> {
        let target = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/bench");
        std::fs::create_dir_all(&target)?;
        let of = |figure: Option<f64>| figure.map_or(Value::Null, Value::from);
        let figures: serde_json::Map<_, _> =
            self.figures().into_iter().map(|(name, figure)| (name, of(figure))).collect();
        Ok(std::fs::write(target.join("service.json"), serde_json::to_vec_pretty(&figures)?)?)
    }
}

fn told(figure: Option<f64>, digits: usize) -> String {
    figure.map_or_else(|| "-".to_owned(), |figure| format!("{figure:.digits$}"))
}

/// The middle one of some figures.
pub(crate) fn median(mut figures: Vec<f64>) -> Option<f64> {
    figures.sort_by(f64::total_cmp);
    figures.get(figures.len() / 2).copied()
}
