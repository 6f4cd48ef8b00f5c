//! What files of records cost: `cargo bench -p dashwright-tests --bench import -- [RECORDS …]`, 150,000 and 1,000,000 unless told
//! otherwise.
//!
//! The released binary serves a new dataset and imports a file with its own command, over a socket, with every byte hashed
//! twice. Then come files of 1 GB that are not what they should be, each to a server of its own: what they are refused with, and
//! the most memory that the server had resident. Figures go to target/bench/import.json.

use std::error::Error;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use dashwright_model::exchange::to_line;
use dashwright_model::record::Record;
use dashwright_model::table::{TableKind, to_row};
use serde_json::Value;

type Outcome<T> = Result<T, Box<dyn Error + Send + Sync>>;

/// Bytes of a hostile file.
const HOSTILE_BYTES: usize = 1_000_000_000;
/// How long a server may take to serve an empty dataset.
const START: Duration = Duration::from_secs(30);

fn main() -> Outcome<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    // `cargo test` runs benches with `--test` to see that they compile; this one needs the released binary.
    if arguments.iter().any(|argument| argument == "--test") {
        return Ok(());
    }
    let counts: Vec<usize> = arguments.iter().filter_map(|argument| argument.parse().ok()).collect();
    let counts = if counts.is_empty() { vec![150_000, 1_000_000] } else { counts };
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target");
    let binary = released(&target)?;
    let scratch = tempfile::tempdir_in(fs::canonicalize(&target)?)?;
    let mut figures = Vec::new();
    for count in counts {
        for (name, table) in [("lines", None), ("table", Some("vehicle"))] {
            let file = scratch.path().join(name);
            write_records(&file, count, table.is_some())?;
            let server = Server::start(&binary, &scratch.path().join("data"))?;
            let draft = server.draft()?;
            let (first, told) = server.import(&draft, &file, table)?;
            expect(&told, "put", count)?;
            let (again, told) = server.import(&draft, &file, table)?;
            expect(&told, "unchanged", count)?;
            let rate = |time: Duration| count as f64 / time.as_secs_f64();
            figures.push((format!("{name}_{count}_per_second"), rate(first)));
            figures.push((format!("{name}_{count}_again_per_second"), rate(again)));
            figures.push((format!("{name}_{count}_peak_bytes"), server.end()?));
            fs::remove_file(&file)?;
        }
    }
    for hostile in Hostile::ALL {
        let file = scratch.path().join("hostile");
        hostile.write(&file)?;
        let server = Server::start(&binary, &scratch.path().join("data"))?;
        let (time, told) = server.import(&server.draft()?, &file, hostile.table())?;
        println!("{}: {}", hostile.name(), told.pointer("/faults/0").unwrap_or(&Value::Null));
        expect(&told, "faultsTotal", hostile.faults())?;
        figures.push((format!("{}_seconds", hostile.name()), time.as_secs_f64()));
        figures.push((format!("{}_peak_bytes", hostile.name()), server.end()?));
    }
    for (name, figure) in &figures {
        println!("  {name:44} {figure:>16.1}");
    }
    let figures: serde_json::Map<_, _> =
        figures.into_iter().map(|(name, figure)| (name, figure.into())).collect();
    fs::create_dir_all(target.join("bench"))?;
    Ok(fs::write(target.join("bench/import.json"), serde_json::to_vec_pretty(&figures)?)?)
}

/// The released binary, built where it is not.
fn released(target: &Path) -> Outcome<PathBuf> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo).args(["build", "--release", "-p", "dashwright"]).status()?;
    if !built.success() {
        return Err("the binary can not be built".into());
    }
    let below = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| target.to_owned(), PathBuf::from);
    Ok(below.join("release/dashwright").canonicalize()?)
}

fn expect(told: &Value, field: &str, count: usize) -> Outcome<()> {
    let found = told.get(field).and_then(Value::as_str).unwrap_or("0");
    if found == count.to_string() {
        Ok(())
    } else {
        Err(format!("{field} is {found}, not {count}: {told}").into())
    }
}

/// Vehicle lines; more than are generated are written under other ids.
fn write_records(file: &Path, count: usize, table: bool) -> Outcome<()> {
    let lines = dashwright_demo::scaled(count).filter(|record| record.id().starts_with("gen-"));
    let lines: Vec<Record> = lines.filter(|record| matches!(record, Record::Vehicle(_))).collect();
    let mut out = BufWriter::new(File::create(file)?);
    if table {
        out.write_all(TableKind::Vehicle.header().as_bytes())?;
    }
    for (number, record) in lines.iter().cycle().take(count).enumerate() {
        let copy = number / lines.len();
        let text = if table { to_row(TableKind::Vehicle, record)? } else { to_line(record)? + "\n" };
        out.write_all(text.replacen("gen-", &format!("gen{copy}-"), 1).as_bytes())?;
    }
    Ok(out.flush()?)
}

/// A file that is not what it should be.
#[derive(Clone, Copy)]
enum Hostile {
    EndlessLine,
    OpenQuote,
    Columns,
    Faults,
}

impl Hostile {
    const ALL: [Self; 4] = [Self::EndlessLine, Self::OpenQuote, Self::Columns, Self::Faults];

    fn name(self) -> &'static str {
        match self {
            Self::EndlessLine => "endless_line",
            Self::OpenQuote => "open_quote",
            Self::Columns => "a_billion_columns",
            Self::Faults => "nothing_but_faults",
        }
    }

    fn table(self) -> Option<&'static str> {
        matches!(self, Self::OpenQuote | Self::Columns).then_some("part")
    }

    fn faults(self) -> usize {
        if let Self::Faults = self { 100_000 } else { 1 }
    }

    fn write(self, file: &Path) -> Outcome<()> {
        let (begin, repeated) = match self {
            Self::EndlessLine => ("", "x"),
            Self::OpenQuote => ("id\n\"", "x,\n"),
            Self::Columns => ("", ","),
            Self::Faults => ("", "{}\n"),
        };
        let mut out = BufWriter::new(File::create(file)?);
        out.write_all(begin.as_bytes())?;
        let many = repeated.repeat(1 << 20);
        for _ in 0..HOSTILE_BYTES / many.len() {
            out.write_all(many.as_bytes())?;
        }
        let rest = HOSTILE_BYTES % many.len() / repeated.len();
        out.write_all(repeated.repeat(rest).as_bytes())?;
        Ok(out.flush()?)
    }
}

/// The binary, serving a dataset that goes with it.
struct Server {
    binary: PathBuf,
    data: PathBuf,
    address: String,
    child: Child,
}

impl Server {
    fn start(binary: &Path, data: &Path) -> Outcome<Server> {
        let listener = std::net::TcpListener::bind("127.0.0.1:0")?;
        let address = listener.local_addr()?.to_string();
        drop(listener);
        let mut command = Command::new(binary);
        command.args(["serve", "--init", "--listen", &address, "--data"]).arg(data);
        let child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn()?;
        let server = Server { binary: binary.to_owned(), data: data.to_owned(), address, child };
        let begin = Instant::now();
        while server.ask(&["info"]).is_err() {
            if begin.elapsed() > START {
                return Err("the server does not answer".into());
            }
        }
        Ok(server)
    }

    fn ask(&self, arguments: &[&str]) -> Outcome<Value> {
        let address = format!("http://{}", self.address);
        let mut command = Command::new(&self.binary);
        let output = command.args(arguments).args(["--json", "--server", &address]).output()?;
        Ok(serde_json::from_slice(&output.stdout)?)
    }

    fn draft(&self) -> Outcome<String> {
        let begun = self.ask(&["draft", "new", "--reason", "a benchmark"])?;
        let id = begun.pointer("/draft/draftId").and_then(Value::as_str);
        Ok(id.ok_or("no draft")?.to_owned())
    }

    fn import(&self, draft: &str, file: &Path, table: Option<&str>) -> Outcome<(Duration, Value)> {
        let file = file.to_str().ok_or("a name that is no text")?;
        let mut arguments = vec!["draft", "import", draft, file, "--reason", "a benchmark"];
        if let Some(table) = table {
            arguments.extend(["--table", table]);
        }
        let begin = Instant::now();
        let told = self.ask(&arguments)?;
        Ok((begin.elapsed(), told))
    }

    /// Ends it and removes its dataset: the most memory that it had.
    fn end(mut self) -> Outcome<f64> {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let peak =
            status.lines().find_map(|line| line.strip_prefix("VmHWM:")).ok_or("no such field of memory")?;
        let kibibytes: f64 = peak.trim().trim_end_matches(" kB").trim().parse()?;
        self.child.kill()?;
        self.child.wait()?;
        fs::remove_dir_all(&self.data)?;
        Ok(kibibytes * 1024.0)
    }
}
