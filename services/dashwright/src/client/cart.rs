//! `cart`: what the lines of a cart are worth, and what it lacks.

use std::path::Path;

use dashwright_api::v1;
use serde::Deserialize;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::{Cart, quantity_of};
use crate::failure::Failure;
use crate::{out, text, wiring};

/// The largest file of carts: a night's batch of ten thousand carts of a few lines.
const MOST_FILE_BYTES: u64 = 64 << 20;

/// Asks and prints what is said of each cart.
pub(crate) fn cart(arguments: Cart) -> Result<(), Failure> {
    let Cart { radio, items, file, vehicle, order, read_at, client } = arguments;
    let lines = items.into_iter().map(|(item, quantity)| v1::CartLine { item, quantity });
    let given = v1::CheckCartRequest {
        read_at: read_at.message(),
        vehicle: Some(vehicle.question()),
        radio_id: radio,
        order: Some(order.message()),
        lines: lines.collect(),
    };
    let carts = match file {
        None => Carts::One(given),
        Some(file) => carts_of(&file, given)?,
    };
    wiring::block_on(async {
        let connection = Connection::open(&client.server).await?;
        match carts {
            Carts::One(cart) => one(&connection, cart, client.json).await,
            Carts::Many(carts) => many(&connection, carts, client.json).await,
        }
    })
}

/// What a file has.
#[derive(Debug)]
enum Carts {
    One(v1::CheckCartRequest),
    Many(Vec<v1::CheckCartRequest>),
}

async fn one(connection: &Connection, cart: v1::CheckCartRequest, as_json: bool) -> Result<(), Failure> {
    let vehicle = cart.vehicle.clone().unwrap_or_default();
    let answer = connection.answer(connection.fitment().check_cart(cart).await)?;
    out::print(&printed(&vehicle, &answer, as_json, Layout::Wide)?)
}

/// Carts over a stream, printed as their answers come.
async fn many(
    connection: &Connection,
    carts: Vec<v1::CheckCartRequest>,
    as_json: bool,
) -> Result<(), Failure> {
    let vehicles: Vec<_> = carts.iter().map(|cart| cart.vehicle.clone().unwrap_or_default()).collect();
    let messages = carts.into_iter().enumerate().map(|(number, mut cart)| {
        // The first cart states the revision for all.
        cart.read_at = cart.read_at.filter(|_| number == 0);
        v1::CheckCartsRequest { correlation_id: (number + 1).to_string(), cart: Some(cart) }
    });
    let requests = tokio_stream::iter(messages.collect::<Vec<_>>());
    let mut answers = connection.answer(connection.fitment().check_carts(requests).await)?;
    let mut vehicles = vehicles.iter();
    while let Some(answer) = connection.item(answers.message().await)? {
        let vehicle = vehicles.next().cloned().unwrap_or_default();
        out::print(&printed_of_stream(&vehicle, &answer, as_json)?)?;
    }
    Ok(())
}

fn printed_of_stream(
    vehicle: &v1::VehicleQuestion,
    answer: &v1::CheckCartsResponse,
    as_json: bool,
) -> Result<String, Failure> {
    if as_json {
        return json("CheckCartsResponse", answer, Layout::OneLine);
    }
    let number = &answer.correlation_id;
    match &answer.result {
        Some(v1::check_carts_response::Result::Answer(answer)) => {
            let text = printed(vehicle, answer, false, Layout::Wide)?;
            Ok(format!("Cart {number}\n{text}\n"))
        }
        Some(v1::check_carts_response::Result::Error(error)) => {
            let fields: Vec<String> = error.fields.iter().map(|field| format!("\n  {field}")).collect();
            Ok(format!("Cart {number}: not checked: {}{}\n\n", error.message, fields.concat()))
        }
        None => Ok(format!("Cart {number}: the server says nothing of it\n\n")),
    }
}

fn printed(
    vehicle: &v1::VehicleQuestion,
    answer: &v1::CheckCartResponse,
    as_json: bool,
    layout: Layout,
) -> Result<String, Failure> {
    if as_json {
        json("CheckCartResponse", answer, layout)
    } else {
        Ok(text::cart(vehicle, answer, out::columns()))
    }
}

// Reading files.

/// The carts of a file. What the command line says holds where the file says nothing.
fn carts_of(file: &Path, given: v1::CheckCartRequest) -> Result<Carts, Failure> {
    let unreadable = |source| Failure::CartFile { path: file.to_owned(), source };
    let size = std::fs::metadata(file).map_err(unreadable)?.len();
    let refused = |problem: String| Failure::NoCart { path: file.to_owned(), problem };
    if size > MOST_FILE_BYTES {
        return Err(refused(format!("has {size} bytes, at most {MOST_FILE_BYTES} are read")));
    }
    let bytes = std::fs::read(file).map_err(unreadable)?;
    // A byte-order mark is what some programs write before UTF-8; it means nothing.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let is_csv = file.extension().is_some_and(|end| end.eq_ignore_ascii_case("csv"));
    if is_csv {
        let lines = csv_lines(bytes).map_err(refused)?;
        return Ok(Carts::One(v1::CheckCartRequest { lines, ..given }));
    }
    json_carts(bytes, &given).map_err(refused)
}

/// The lines of a CSV file with the header `item,quantity`.
fn csv_lines(bytes: &[u8]) -> Result<Vec<v1::CartLine>, String> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::All).from_reader(bytes);
    let header = reader.headers().map_err(|error| error.to_string())?.clone();
    if header.iter().collect::<Vec<_>>() != ["item", "quantity"] {
        let found: Vec<&str> = header.iter().collect();
        return Err(format!("row 1: the header is `{}`, not `item,quantity`", found.join(",")));
    }
    let mut lines = Vec::new();
    for (number, row) in reader.records().enumerate() {
        let place = format!("row {}", number + 2);
        let row = row.map_err(|error| format!("{place}: {error}"))?;
        let (Some(item), Some(quantity), None) = (row.get(0), row.get(1), row.get(2)) else {
            return Err(format!("{place}: has {} columns, not 2", row.len()));
        };
        if item.is_empty() {
            return Err(format!("{place}: no item"));
        }
        let quantity = quantity_of(quantity).map_err(|problem| format!("{place}: {problem}"))?;
        lines.push(v1::CartLine { item: item.to_owned(), quantity });
    }
    if lines.is_empty() { Err("has no lines below its header".to_owned()) } else { Ok(lines) }
}

/// A cart of a JSON file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCart {
    #[serde(default)]
    vehicle: Option<FileVehicle>,
    #[serde(default)]
    radio_id: Option<String>,
    lines: Vec<FileLine>,
}

/// A vehicle of a JSON file; the names are those of the schema.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
#[derive(Default)]
struct FileVehicle {
    vin: String,
    model_year: u32,
    make: String,
    model: String,
    trim: String,
    build_month: String,
    market: String,
    body: String,
    drivetrain: String,
    audio_option: String,
    words: String,
}

/// A line of a JSON file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileLine {
    item: String,
    #[serde(default = "once")]
    quantity: std::num::NonZeroU32,
}

const fn once() -> std::num::NonZeroU32 {
    std::num::NonZeroU32::MIN
}

fn json_carts(bytes: &[u8], given: &v1::CheckCartRequest) -> Result<Carts, String> {
    let is_list = bytes.iter().find(|byte| !byte.is_ascii_whitespace()) == Some(&b'[');
    let read = |cart: FileCart| request(cart, given);
    if is_list {
        let carts: Vec<FileCart> = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
        return Ok(Carts::Many(carts.into_iter().map(read).collect()));
    }
    let cart: FileCart = serde_json::from_slice(bytes).map_err(|error| error.to_string())?;
    Ok(Carts::One(read(cart)))
}

fn request(cart: FileCart, given: &v1::CheckCartRequest) -> v1::CheckCartRequest {
    let FileCart { vehicle, radio_id, lines } = cart;
    let lines =
        lines.into_iter().map(|FileLine { item, quantity }| v1::CartLine { item, quantity: quantity.get() });
    v1::CheckCartRequest {
        vehicle: vehicle.map(question).or_else(|| given.vehicle.clone()),
        radio_id: radio_id.unwrap_or_else(|| given.radio_id.clone()),
        lines: lines.collect(),
        ..given.clone()
    }
}

fn question(vehicle: FileVehicle) -> v1::VehicleQuestion {
    let FileVehicle {
        vin,
        model_year,
        make,
        model,
        trim,
        build_month,
        market,
        body,
        drivetrain,
        audio_option,
        words,
    } = vehicle;
    v1::VehicleQuestion {
        vin,
        model_year,
        make,
        model,
        trim,
        build_month,
        market,
        drive_side: 0,
        body,
        drivetrain,
        audio_option,
        words,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn given() -> v1::CheckCartRequest {
        v1::CheckCartRequest { radio_id: "given".to_owned(), ..v1::CheckCartRequest::default() }
    }

    fn csv_refused(text: &str, part: &str) {
        let problem = csv_lines(text.as_bytes()).unwrap_err();
        assert!(problem.contains(part), "{text:?}: {problem}");
    }

    #[test]
    fn a_table_is_read_with_its_header_and_refused_with_its_row() {
        let lines = csv_lines(b"item,quantity\nhwk-210, 2\n\"WD 80-214\",1\n").unwrap();
        let read: Vec<(&str, u32)> = lines.iter().map(|line| (line.item.as_str(), line.quantity)).collect();
        assert_eq!(read, [("hwk-210", 2), ("WD 80-214", 1)]);
        csv_refused("", "row 1: the header is ``");
        csv_refused("item,quantity\n", "has no lines");
        csv_refused("part,count\na,1\n", "row 1: the header is `part,count`, not `item,quantity`");
        csv_refused("item,quantity\na,0\n", "row 2: `0` is no quantity");
        csv_refused("item,quantity\na,1\nb,-1\n", "row 3: `-1`");
        csv_refused("item,quantity\na,1e9\n", "row 2: `1e9`");
        csv_refused("item,quantity\n,1\n", "row 2: no item");
        csv_refused("item,quantity\na,1,2\n", "row 2: has 3 columns");
        csv_refused("item,quantity\na\n", "row 2: has 1 columns");
    }

    #[test]
    fn json_holds_one_cart_or_many_and_the_command_line_fills_in() {
        let one = br#"{"vehicle": {"words": "2013 tamsel"}, "lines": [{"item": "a"}, {"item": "b", "quantity": 3}]}"#;
        let Carts::One(cart) = json_carts(one, &given()).unwrap() else { panic!("many") };
        assert_eq!((cart.radio_id.as_str(), cart.vehicle.unwrap().words.as_str()), ("given", "2013 tamsel"));
        assert_eq!(cart.lines.iter().map(|line| line.quantity).collect::<Vec<_>>(), [1, 3]);
        let many = br#" [{"radio_id": "own", "lines": []}, {"lines": [{"item": "a"}]}]"#;
        let Carts::Many(carts) = json_carts(many, &given()).unwrap() else { panic!("one") };
        assert_eq!(carts.iter().map(|cart| cart.radio_id.as_str()).collect::<Vec<_>>(), ["own", "given"]);
    }

    #[test]
    fn json_that_is_no_cart_is_refused_with_its_place() {
        for (text, part) in [
            ("", "EOF"),
            ("nonsense", "expected"),
            (r#"{"lines": [{"item": "a", "quantity": 0}]}"#, "nonzero"),
            (r#"{"lines": [{"item": "a", "quantity": -1}]}"#, "-1"),
            (r#"{"lines": [], "basket": 1}"#, "unknown field `basket`"),
            (r#"{"vehicle": {"year": 2013}, "lines": []}"#, "unknown field `year`"),
            (r#"{"radio_id": "a", "radio_id": "b", "lines": []}"#, "duplicate field"),
        ] {
            let problem = json_carts(text.as_bytes(), &given()).unwrap_err();
            assert!(problem.contains(part), "{text}: {problem}");
        }
    }
}
