//! PostgreSQL as a process beside the handler, on the same core: a cluster of its own in a temporary directory, reached through a socket of
//! its own and by nobody else.
//!
//! A look-up is one prepared statement that joins the line with its fitment and returns the items, offers and parts behind it; a
//! small pool of connections, calls pipelined on each. Everything is in shared memory, tables are vacuumed and analysed, plans are
//! made once, nothing is compiled or done in parallel for a single call. The processor time of all its processes is counted.

use std::os::unix::fs::{PermissionsExt as _, chown};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use dashwright_api::v1;
use futures_util::SinkExt as _;
use tempfile::TempDir;
use tokio_postgres::{Client, NoTls, Statement};

use crate::filling::Filling;
use crate::rivals::{self, Rival};
use crate::rows::{self, Assembly, Columns, RESULTS, Row, Shape, Table};
use crate::{Outcome, cpu, load, server};

/// Connections of the handler: one process of the database each, all on one core, so that more would only take turns.
const POOL: usize = 4;
/// How long the server may take to begin.
const START: Duration = Duration::from_secs(60);
/// What the rows of a copy are gathered to before they are sent.
const COPY_BYTES: usize = 1 << 20;
/// Users that the server may run as where the bench runs as root, which it refuses to.
const USERS: [&str; 2] = ["postgres", "nobody"];
/// Settings for reading what lies in memory.
const SETTINGS: [&str; 18] = [
    "listen_addresses=",
    "shared_buffers=2GB",
    "work_mem=64MB",
    "maintenance_work_mem=512MB",
    "fsync=off",
    "full_page_writes=off",
    "synchronous_commit=off",
    "max_wal_size=8GB",
    "autovacuum=off",
    "jit=off",
    "plan_cache_mode=force_generic_plan",
    "max_parallel_workers_per_gather=0",
    "track_activities=off",
    "track_counts=off",
    // Pages lie in memory: with these costs every branch of the statement goes by its index, without a sort.
    "random_page_cost=0.05",
    "seq_page_cost=0.05",
    "enable_hashjoin=off",
    "enable_mergejoin=off",
];

/// A running server, which ends when this goes.
pub(crate) struct Cluster {
    child: Child,
    root: TempDir,
}

impl Cluster {
    /// A new cluster; nothing where no PostgreSQL is installed.
    pub(crate) fn start() -> Outcome<Option<Self>> {
        let Some(programs) = programs() else { return Ok(None) };
        let root = tempfile::tempdir()?;
        let user = user()?;
        if let Some(user) = &user {
            chown(root.path(), Some(user.id), Some(user.group))?;
            std::fs::set_permissions(root.path(), std::fs::Permissions::from_mode(0o700))?;
        }
        let data = root.path().join("data");
        let mut made = command(&programs.join("initdb"), user.as_ref(), root.path());
        made.args(["-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync", "-D"]).arg(&data);
        let made = made.stdout(Stdio::null()).output()?;
        if !made.status.success() {
            return Err(format!("no cluster: {}", String::from_utf8_lossy(&made.stderr)).into());
        }
        let mut server = command(&programs.join("postgres"), user.as_ref(), root.path());
        server.arg("-D").arg(&data).arg("-k").arg(root.path());
        for setting in SETTINGS {
            server.args(["-c", setting]);
        }
        let log = std::fs::File::create(root.path().join("log"))?;
        let child = server.stdin(Stdio::null()).stdout(log.try_clone()?).stderr(log).spawn()?;
        let mut cluster = Self { child, root };
        cluster.wait()?;
        Ok(Some(cluster))
    }

    fn wait(&mut self) -> Outcome<()> {
        let begin = Instant::now();
        while load::block_on(connect(self.root.path(), "postgres")).is_err() {
            if begin.elapsed() > START || self.child.try_wait()?.is_some() {
                let log = std::fs::read_to_string(self.root.path().join("log"))?;
                return Err(format!("PostgreSQL does not begin: {log}").into());
            }
            // sleep: the server tells nobody that it has begun.
            std::thread::sleep(Duration::from_millis(50));
        }
        Ok(())
    }

    /// Where its socket is.
    pub(crate) fn socket(&self) -> &Path {
        self.root.path()
    }

    /// The process that all others of the server descend from.
    pub(crate) fn process(&self) -> u32 {
        self.child.id()
    }

    /// Fills a database.
    pub(crate) fn fill(&self, database: &str, filling: &Filling) -> Outcome<()> {
        load::block_on(async {
            let client = connect(self.root.path(), "postgres").await?;
            client.batch_execute(&format!("CREATE DATABASE {database}")).await?;
            let client = connect(self.root.path(), database).await?;
            for table in rows::JOINED {
                client.batch_execute(&create(table)).await?;
            }
            copy(&client, &rows::ABOUT, |put| put(&filling.about()?)).await?;
            fill_fitments(&client, filling).await?;
            copy(&client, &rows::LINE, |put| {
                filling.each_line(|own, fit| put(&Filling::line_row(own, fit)?))
            })
            .await?;
            for Table { name, key, .. } in rows::JOINED {
                client.batch_execute(&format!("ALTER TABLE {name} ADD PRIMARY KEY ({key})")).await?;
            }
            Ok(client.batch_execute("VACUUM (FREEZE, ANALYZE)").await?)
        })
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        // SIGINT asks for a quick end in order, which leaves no process behind.
        let _ = Command::new("kill").args(["-INT", &self.child.id().to_string()]).status();
        let _ = self.child.wait();
    }
}

/// Where `postgres` and `initdb` are: in the path, or where Debian has them, the newest first.
fn programs() -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let mut installed: Vec<PathBuf> = std::fs::read_dir("/usr/lib/postgresql")
        .map(|versions| versions.flatten().map(|version| version.path().join("bin")).collect())
        .unwrap_or_default();
    installed.sort();
    let whole = |place: &PathBuf| place.join("postgres").exists() && place.join("initdb").exists();
    std::env::split_paths(&path).chain(installed.into_iter().rev()).find(whole)
}

/// Somebody with few rights.
struct User {
    id: u32,
    group: u32,
}

/// The user to run as; nothing where the bench does not run as root.
fn user() -> Outcome<Option<User>> {
    let ask = |arguments: &[&str]| -> Outcome<u32> {
        let told = Command::new("id").args(arguments).stderr(Stdio::null()).output()?;
        Ok(String::from_utf8(told.stdout)?.trim().parse()?)
    };
    if ask(&["-u"])? != 0 {
        return Ok(None);
    }
    let found = USERS.iter().find_map(|name| {
        let (id, group) = (ask(&["-u", name]).ok()?, ask(&["-g", name]).ok()?);
        Some(User { id, group })
    });
    found.map(Some).ok_or_else(|| "PostgreSQL does not run as root, and there is nobody else".into())
}

/// A program as that user, on the core of the servers.
fn command(program: &Path, user: Option<&User>, directory: &Path) -> Command {
    let mut words: Vec<std::ffi::OsString> = Vec::new();
    if cpu::can_pin() {
        words.extend(["taskset", "-c"].map(Into::into));
        words.push(server::CORE.to_string().into());
    }
    if let Some(User { id, group }) = user {
        words.push("setpriv".into());
        words.push(format!("--reuid={id}").into());
        words.push(format!("--regid={group}").into());
        // Should the bench be killed, the server ends with it.
        words.extend(["--clear-groups", "--pdeathsig", "INT"].map(Into::into));
    }
    words.push(program.into());
    let mut words = words.into_iter();
    let mut command = Command::new(words.next().unwrap_or_default());
    command.args(words).current_dir(directory);
    command
}

async fn connect(socket: &Path, database: &str) -> Outcome<Client> {
    let mut config = tokio_postgres::Config::new();
    config.host_path(socket).user("bench").dbname(database);
    let (client, connection) = config.connect(NoTls).await?;
    tokio::spawn(connection);
    Ok(client)
}

fn create(table: &Table) -> String {
    let of = |names: &[&str], kind: &str| -> Vec<String> {
        names.iter().map(|name| format!("{name} {kind}")).collect()
    };
    let Shape { integers, texts, reals, blobs } = &table.shape;
    let columns = [of(integers, "int8"), of(texts, "text"), of(reals, "float8"), of(blobs, "bytea")].concat();
    format!("CREATE TABLE {} ({})", table.name, columns.join(", "))
}

async fn fill_fitments(client: &Client, filling: &Filling) -> Outcome<()> {
    let (mut fitments, mut items, mut offers) = (Vec::new(), Vec::new(), Vec::new());
    let (mut names, mut parts) = (Vec::new(), std::collections::BTreeMap::new());
    for (fit, shared) in filling.fitments() {
        fitments.push(rows::fitment_row(shared, fit)?);
        let (more_items, more_offers) = rows::item_rows(shared, fit)?;
        items.extend(more_items);
        offers.extend(more_offers);
        for part in &shared.parts {
            names.push(Row::new([fit], [&part.id]));
            parts.insert(part.id.clone(), rows::part_row(part));
        }
    }
    let parts: Vec<Row> = parts.into_values().collect();
    let tables = [
        (&rows::FITMENT, &fitments),
        (&rows::ITEM, &items),
        (&rows::OFFER, &offers),
        (&rows::FITMENT_PART, &names),
        (&rows::PART, &parts),
    ];
    for (table, rows) in tables {
        copy(client, table, |put| rows.iter().try_for_each(put)).await?;
    }
    Ok(())
}

/// Copies rows into a table in the text format of `COPY`.
async fn copy(
    client: &Client,
    table: &Table,
    fill: impl FnOnce(&mut dyn FnMut(&Row) -> Outcome<()>) -> Outcome<()>,
) -> Outcome<()> {
    let (mut pieces, mut text) = (Vec::new(), String::new());
    fill(&mut |row| {
        copied(row, &mut text);
        if text.len() > COPY_BYTES {
            pieces.push(bytes::Bytes::from(std::mem::take(&mut text)));
        }
        Ok(())
    })?;
    pieces.push(text.into());
    let columns = table.shape.columns().join(", ");
    let sink = client.copy_in(&format!("COPY {} ({columns}) FROM STDIN", table.name)).await?;
    let mut sink = std::pin::pin!(sink);
    for piece in pieces {
        sink.send(piece).await?;
    }
    sink.finish().await?;
    Ok(())
}

fn copied(row: &Row, text: &mut String) {
    const EMPTY: &str = "\\N";
    let escaped = |it: &String| it.replace('\\', "\\\\").replace('\t', "\\t").replace('\n', "\\n");
    let hex = |it: &Vec<u8>| it.iter().fold("\\\\x".to_owned(), |text, byte| text + &format!("{byte:02x}"));
    let integers = row.integers.iter().map(|it| it.map(|it| it.to_string()));
    let texts = row.texts.iter().map(|it| it.as_ref().map(escaped));
    let reals = row.reals.iter().map(|it| it.map(|it| it.to_string()));
    let blobs = row.blobs.iter().map(|it| it.as_ref().map(hex));
    let cells =
        integers.chain(texts).chain(reals).chain(blobs).map(|cell| cell.unwrap_or_else(|| EMPTY.into()));
    text.push_str(&cells.collect::<Vec<_>>().join("\t"));
    text.push('\n');
}

/// How many columns of each type the one result has: as many as the kind of row with the most.
fn widths() -> [usize; 4] {
    let most = |count: fn(&Shape) -> usize| RESULTS.iter().map(count).max().unwrap_or_default();
    [
        most(|shape| shape.integers.len()),
        most(|shape| shape.texts.len()),
        most(|shape| shape.reals.len()),
        most(|shape| shape.blobs.len()),
    ]
}

/// The one statement: what it returns is the kind of the row and then its columns by type, empty where a kind has fewer.
fn statement() -> String {
    let widths = widths();
    let row = |kind: usize, shape: &Shape| {
        let Shape { integers, texts, reals, blobs } = shape;
        let mut columns = vec![format!("{kind}::int8")];
        for ((names, width), of) in
            [integers, texts, reals, blobs].into_iter().zip(widths).zip(["int8", "text", "float8", "bytea"])
        {
            columns.extend(names.iter().map(|name| (*name).to_owned()));
            columns.extend((names.len()..width).map(|_| format!("NULL::{of}")));
        }
        columns.join(", ")
    };
    let [head, item, offer, part] = &RESULTS;
    let (heads, items) = (row(rows::HEAD, head), row(rows::ITEMS, item));
    let (offers, parts) = (row(rows::OFFERS, offer), row(rows::PARTS, part));
    let head = head.columns().join(", ");
    format!(
        "WITH head AS MATERIALIZED (SELECT {head} FROM line JOIN fitment USING (fit) \
           WHERE make = $1 AND model = $2 AND audio = $3 AND first_year <= $4 \
           ORDER BY first_year DESC LIMIT 1) \
         SELECT {heads} FROM head \
         UNION ALL (SELECT {items} FROM item WHERE fit = (SELECT fit FROM head) ORDER BY place) \
         UNION ALL (SELECT {offers} FROM offer WHERE fit = (SELECT fit FROM head) ORDER BY item, offer.place) \
         UNION ALL (SELECT {parts} FROM fitment_part JOIN part USING (part) \
           WHERE fit = (SELECT fit FROM head) ORDER BY part)"
    )
}

/// The role of the rival: where the socket is, and the database.
pub(crate) fn serve(arguments: &[String]) -> Outcome<()> {
    let [_, _, socket, database, ..] = arguments else { return Err("which database?".into()) };
    rivals::serve(Pool::new(Path::new(socket), database))
}

/// Connections that take calls in turns.
struct Pool {
    connections: Vec<(Client, Statement)>,
    next: AtomicUsize,
    revision: v1::DatasetRevision,
    /// Where the columns of each type begin.
    begins: [usize; 4],
}

impl Pool {
    async fn new(socket: &Path, database: &str) -> Outcome<Self> {
        let mut connections = Vec::new();
        for _ in 0..POOL {
            let client = connect(socket, database).await?;
            let prepared = client.prepare(&statement()).await?;
            connections.push((client, prepared));
        }
        let (client, _) = connections.first().ok_or("no connection")?;
        let about = client.query_one("SELECT revision FROM about", &[]).await?;
        let revision = prost::Message::decode(about.try_get::<_, &[u8]>(0)?)?;
        let [integers, texts, reals, _] = widths();
        let begins = [1, 1 + integers, 1 + integers + texts, 1 + integers + texts + reals];
        Ok(Self { connections, next: AtomicUsize::new(0), revision, begins })
    }
}

impl Rival for Pool {
    type Reply = v1::LookUpFitmentResponse;

    async fn answer(&self, question: v1::VehicleQuestion) -> Outcome<Option<Self::Reply>> {
        let turn = self.next.fetch_add(1, Ordering::Relaxed) % self.connections.len();
        let (client, statement) = self.connections.get(turn).ok_or("no connection")?;
        let v1::VehicleQuestion { make, model, audio_option, model_year, .. } = &question;
        let found = client.query(statement, &[make, model, audio_option, &i64::from(*model_year)]).await?;
        let mut answer: Option<Assembly> = None;
        for row in &found {
            let read = Read { row, begins: self.begins };
            let kind = usize::try_from(row.try_get::<_, i64>(0)?)?;
            match (kind, &mut answer) {
                (rows::HEAD, none) => *none = Assembly::begin(&read, *model_year, self.revision.clone())?,
                (_, None) => return Ok(None),
                (rows::ITEMS, Some(answer)) => answer.item(&read)?,
                (rows::OFFERS, Some(answer)) => answer.offer(&read)?,
                (_, Some(answer)) => answer.part(&read)?,
            }
        }
        Ok(answer.map(Assembly::end))
    }
}

/// A row of the one result.
struct Read<'row> {
    row: &'row tokio_postgres::Row,
    begins: [usize; 4],
}

impl Columns for Read<'_> {
    fn integer(&self, place: usize) -> Outcome<Option<i64>> {
        let [begin, ..] = self.begins;
        Ok(self.row.try_get(begin + place)?)
    }

    fn text(&self, place: usize) -> Outcome<Option<&str>> {
        let [_, begin, ..] = self.begins;
        Ok(self.row.try_get(begin + place)?)
    }

    fn real(&self, place: usize) -> Outcome<Option<f64>> {
        let [.., begin, _] = self.begins;
        Ok(self.row.try_get(begin + place)?)
    }

    fn blob(&self, place: usize) -> Outcome<Option<&[u8]>> {
        let [.., begin] = self.begins;
        Ok(self.row.try_get(begin + place)?)
    }
}
