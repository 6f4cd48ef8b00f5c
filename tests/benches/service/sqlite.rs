//! SQLite in the process of the handler, as strong as it gets: one read-only connection on an immutable file that is mapped into memory
//! whole, statements prepared once, nothing shared between threads, no thread changed for a query.
//!
//! Two forms. **Joined**: the line by its key with its fitment, then items, offers and parts of the fitment, each by a range of
//! one tree (`WITHOUT ROWID`); four statements, because nothing lies between them and one great join would repeat columns.
//! **Encoded**: what is the line's own as bytes by its key, joined to the bytes that lines share, which is what our service does.

use std::path::Path;
use std::sync::{Mutex, PoisonError};

use dashwright_api::reply::Reply;
use dashwright_api::v1;
use rusqlite::types::{ToSql, Value, ValueRef};
use rusqlite::{CachedStatement, Connection, OpenFlags, params_from_iter};

use crate::filling::Filling;
use crate::rivals::{self, Rival};
use crate::rows::{self, Assembly, Columns, RESULTS, Row, Shape, Table};
use crate::{Outcome, cpu};

/// Bytes of a page: the largest, whose trees are the lowest; pages are never copied.
const PAGE_BYTES: u32 = 16_384;
/// Bytes of the file that are mapped: all that SQLite lets one map.
const MAPPED_BYTES: i64 = 0x7fff_0000;
/// Pages in the cache, should something not be mapped; negative is KiB.
const CACHE_KIB: i64 = -1_000_000;
/// Rows of one transaction while a file is filled are all of them: nobody reads it meanwhile and nothing has to survive.
const FILL: &str = "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -1000000; BEGIN";

/// Which form.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Form {
    Joined,
    Encoded,
}

/// Fills a file.
pub(crate) fn fill(file: &Path, form: Form, filling: &Filling) -> Outcome<()> {
    let connection = Connection::open(file)?;
    connection.execute_batch(&format!("PRAGMA page_size = {PAGE_BYTES}"))?;
    connection.execute_batch(FILL)?;
    match form {
        Form::Joined => fill_joined(&connection, filling)?,
        Form::Encoded => fill_encoded(&connection, filling)?,
    }
    connection.execute_batch("COMMIT; ANALYZE")?;
    Ok(())
}

fn fill_joined(connection: &Connection, filling: &Filling) -> Outcome<()> {
    for table in rows::JOINED {
        create(connection, table)?;
    }
    let put = |table: &Table, row: &Row| insert(connection, "INSERT", table, row);
    put(&rows::ABOUT, &filling.about()?)?;
    for (fit, shared) in filling.fitments() {
        put(&rows::FITMENT, &rows::fitment_row(shared, fit)?)?;
        let (items, offers) = rows::item_rows(shared, fit)?;
        items.iter().try_for_each(|row| put(&rows::ITEM, row))?;
        offers.iter().try_for_each(|row| put(&rows::OFFER, row))?;
        for part in &shared.parts {
            put(&rows::FITMENT_PART, &Row::new([fit], [&part.id]))?;
            // Fitments that name one part describe it alike.
            insert(connection, "INSERT OR IGNORE", &rows::PART, &rows::part_row(part))?;
        }
    }
    filling.each_line(|own, fit| put(&rows::LINE, &Filling::line_row(own, fit)?))
}

fn fill_encoded(connection: &Connection, filling: &Filling) -> Outcome<()> {
    create(connection, &rows::OWN)?;
    // The number of a table with row ids is the quickest key, and long rows lie better in its tree.
    connection.execute_batch("CREATE TABLE shared (fit INTEGER PRIMARY KEY, bytes BLOB)")?;
    for (fit, shared) in filling.fitments() {
        let bytes = prost::Message::encode_to_vec(shared);
        insert(connection, "INSERT", &rows::SHARED, &Row::new([fit], []).blobs([Some(bytes)]))?;
    }
    filling.each_line(|own, fit| insert(connection, "INSERT", &rows::OWN, &Filling::own_row(own, fit)?))
}

fn create(connection: &Connection, table: &Table) -> Outcome<()> {
    let of = |names: &[&str], kind: &str| -> Vec<String> {
        names.iter().map(|name| format!("{name} {kind}")).collect()
    };
    let Shape { integers, texts, reals, blobs } = &table.shape;
    let columns = [of(integers, "INTEGER"), of(texts, "TEXT"), of(reals, "REAL"), of(blobs, "BLOB")]
        .concat()
        .join(", ");
    let Table { name, key, .. } = table;
    connection
        .execute_batch(&format!("CREATE TABLE {name} ({columns}, PRIMARY KEY ({key})) WITHOUT ROWID"))?;
    Ok(())
}

fn insert(connection: &Connection, verb: &str, table: &Table, row: &Row) -> Outcome<()> {
    let columns = table.shape.columns();
    let places = vec!["?"; columns.len()].join(", ");
    let sql = format!("{verb} INTO {} ({}) VALUES ({places})", table.name, columns.join(", "));
    let integers = row.integers.iter().map(|it| it.map_or(Value::Null, Value::Integer));
    let texts = row.texts.iter().map(|it| it.clone().map_or(Value::Null, Value::Text));
    let reals = row.reals.iter().map(|it| it.map_or(Value::Null, Value::Real));
    let blobs = row.blobs.iter().map(|it| it.clone().map_or(Value::Null, Value::Blob));
    let values = integers.chain(texts).chain(reals).chain(blobs);
    connection.prepare_cached(&sql)?.execute(params_from_iter(values))?;
    Ok(())
}

/// The role of a rival: which form, and the file.
pub(crate) fn serve(arguments: &[String]) -> Outcome<()> {
    let [_, role, file, ..] = arguments else { return Err("which file?".into()) };
    let connection = open(Path::new(file))?;
    cpu::give_back();
    if role == "sqlite-joined" {
        rivals::serve(async { Joined::new(connection) })
    } else {
        rivals::serve(async { Ok(Encoded(Mutex::new(connection))) })
    }
}

fn open(file: &Path) -> Outcome<Connection> {
    let flags =
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX | OpenFlags::SQLITE_OPEN_URI;
    let name = format!("file:{}?immutable=1", file.display());
    let connection = Connection::open_with_flags(name, flags)?;
    connection.execute_batch(&format!(
        "PRAGMA mmap_size = {MAPPED_BYTES}; PRAGMA cache_size = {CACHE_KIB}; PRAGMA temp_store = MEMORY; BEGIN"
    ))?;
    Ok(connection)
}

/// The joined form.
struct Joined {
    connection: Mutex<Connection>,
    revision: v1::DatasetRevision,
    /// The statements for the kinds of [`RESULTS`].
    statements: [String; 4],
}

impl Joined {
    fn new(connection: Connection) -> Outcome<Self> {
        let bytes: Vec<u8> = connection.query_row("SELECT revision FROM about", [], |row| row.get(0))?;
        let [head, item, offer, part] = RESULTS.map(|shape| shape.columns().join(", "));
        let statements = [
            format!(
                "SELECT {head} FROM line JOIN fitment USING (fit) \
                 WHERE make = ?1 AND model = ?2 AND audio = ?3 AND first_year <= ?4 \
                 ORDER BY first_year DESC LIMIT 1"
            ),
            format!("SELECT {item} FROM item WHERE fit = ?1 ORDER BY place"),
            format!("SELECT {offer} FROM offer WHERE fit = ?1 ORDER BY item, place"),
            format!("SELECT {part} FROM fitment_part JOIN part USING (part) WHERE fit = ?1 ORDER BY part"),
        ];
        let revision = prost::Message::decode(bytes.as_slice())?;
        Ok(Self { connection: Mutex::new(connection), revision, statements })
    }

    fn look_up(&self, question: &v1::VehicleQuestion) -> Outcome<Option<v1::LookUpFitmentResponse>> {
        let connection = self.connection.lock().unwrap_or_else(PoisonError::into_inner);
        let [head, items, offers, parts] = &self.statements;
        let v1::VehicleQuestion { make, model, audio_option, model_year, .. } = question;
        let mut head = connection.prepare_cached(head)?;
        let mut found = head.query((make, model, audio_option, model_year))?;
        let Some(row) = found.next()? else { return Ok(None) };
        let columns = Read { row, shape: &RESULTS[rows::HEAD] };
        let Some(mut answer) = Assembly::begin(&columns, *model_year, self.revision.clone())? else {
            return Ok(None);
        };
        let fit = answer.fit;
        let rest = |sql: &str| connection.prepare_cached(sql);
        each(rest(items)?, fit, &RESULTS[rows::ITEMS], |row| answer.item(row))?;
        each(rest(offers)?, fit, &RESULTS[rows::OFFERS], |row| answer.offer(row))?;
        each(rest(parts)?, fit, &RESULTS[rows::PARTS], |row| answer.part(row))?;
        Ok(Some(answer.end()))
    }
}

impl Rival for Joined {
    type Reply = v1::LookUpFitmentResponse;

    async fn answer(&self, question: v1::VehicleQuestion) -> Outcome<Option<Self::Reply>> {
        self.look_up(&question)
    }
}

fn each(
    mut statement: CachedStatement<'_>,
    key: impl ToSql,
    shape: &Shape,
    mut take: impl FnMut(&Read<'_, '_>) -> Outcome<()>,
) -> Outcome<()> {
    let mut found = statement.query([key])?;
    while let Some(row) = found.next()? {
        take(&Read { row, shape })?;
    }
    Ok(())
}

/// The encoded form.
struct Encoded(Mutex<Connection>);

/// One key, two pieces of bytes.
const ENCODED: &str = "SELECT own.bytes, shared.bytes FROM own JOIN shared USING (fit) \
                       WHERE make = ?1 AND model = ?2 AND audio = ?3 AND year = ?4";

impl Rival for Encoded {
    type Reply = Reply;

    async fn answer(&self, question: v1::VehicleQuestion) -> Outcome<Option<Reply>> {
        let connection = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let v1::VehicleQuestion { make, model, audio_option, model_year, .. } = &question;
        let mut statement = connection.prepare_cached(ENCODED)?;
        let mut found = statement.query((make, model, audio_option, model_year))?;
        let Some(row) = found.next()? else { return Ok(None) };
        let bytes = |place: usize| Ok::<_, rusqlite::Error>(row.get_ref(place)?.as_blob()?.to_vec().into());
        Ok(Some(Reply { own: bytes(0)?, shared: bytes(1)? }))
    }
}

/// A row of a known shape.
struct Read<'row, 'statement> {
    row: &'row rusqlite::Row<'statement>,
    shape: &'row Shape,
}

impl Columns for Read<'_, '_> {
    fn integer(&self, place: usize) -> Outcome<Option<i64>> {
        Ok(self.row.get_ref(place)?.as_i64_or_null()?)
    }

    fn text(&self, place: usize) -> Outcome<Option<&str>> {
        Ok(self.row.get_ref(self.shape.integers.len() + place)?.as_str_or_null()?)
    }

    fn real(&self, place: usize) -> Outcome<Option<f64>> {
        let Shape { integers, texts, .. } = self.shape;
        match self.row.get_ref(integers.len() + texts.len() + place)? {
            ValueRef::Null => Ok(None),
            // A column of this type hands back a whole number as one.
            value => Ok(Some(value.as_f64()?)),
        }
    }

    fn blob(&self, place: usize) -> Outcome<Option<&[u8]>> {
        let Shape { integers, texts, reals, .. } = self.shape;
        Ok(self.row.get_ref(integers.len() + texts.len() + reals.len() + place)?.as_blob_or_null()?)
    }
}
