//! `cart`: what the lines of a cart are worth, and what it lacks.

use dashwright_api::v1;

use super::cart_file::{Carts, carts};
use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::Cart;
use crate::failure::Failure;
use crate::{out, text, wiring};

/// Asks and prints what is said of each cart.
pub(crate) fn cart(arguments: Cart) -> Result<(), Failure> {
    let Cart { radio, items, file, vehicle, order, source } = arguments;
    let lines = items.into_iter().map(|(item, quantity)| v1::CartLine { item, quantity });
    let given = v1::CheckCartRequest {
        read_at: source.read_at.message(),
        vehicle: Some(vehicle.question()),
        radio_id: radio,
        order: Some(order.message()),
        lines: lines.collect(),
    };
    let carts = match file {
        None => Carts::One(Box::new(given)),
        Some(path) => {
            carts(&path, &given).map_err(|error| Failure::CartFile { path, error: Box::new(error) })?
        }
    };
    wiring::block_on(async {
        let connection = Connection::open(&source.client).await?;
        match carts {
            Carts::One(cart) => one(&connection, *cart, source.client.json).await,
            Carts::Many(carts) => many(&connection, carts, source.client.json).await,
        }
    })
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
    let (asked, mut refused) = (vehicles.len(), 0);
    for (answered, vehicle) in vehicles.iter().enumerate() {
        let Some(answer) = connection.item(answers.message().await)? else {
            return Err(Failure::CartsUnanswered { answered, asked });
        };
        if !matches!(answer.result, Some(v1::check_carts_response::Result::Answer(_))) {
            refused += 1;
        }
        out::print(&printed_of_stream(vehicle, &answer, as_json)?)?;
    }
    if refused == 0 { Ok(()) } else { Err(Failure::CartsRefused { refused, asked }) }
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
            // A single fault is what the message says.
            let several = error.fields.iter().filter(|_| error.fields.len() > 1);
            let fields: Vec<String> = several.map(|field| format!("\n  {field}")).collect();
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
