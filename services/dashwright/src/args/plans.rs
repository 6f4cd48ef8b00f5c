//! What may be said of plans, carts, and the reverse questions.

use std::path::PathBuf;

use clap::{ArgAction, Args, ValueEnum};
use dashwright_api::v1;
use dashwright_model::Need;

use super::rules::{self, Rule};
use super::{Page, Source, Vehicle};

/// What counts once as many wishes are kept as can be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Aim {
    /// The lowest price.
    #[default]
    LowestPrice,
    /// The fewest parts.
    FewestParts,
    /// The least time on the bench.
    LeastBenchTime,
}

/// What is wanted and what is there.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "What is wanted and what is there")]
pub(crate) struct Order {
    /// What counts, after the wishes
    #[arg(long, value_name = "AIM", default_value = "lowest-price")]
    pub(crate) aim: Aim,
    /// Keep or add this, with a weight of 1 to 1000 (1 without it; 0: not wished); may be given several times
    #[arg(long, value_name = "NEED[=WEIGHT]", value_parser = wish, action = ArgAction::Append)]
    pub(crate) wish: Vec<(v1::Need, u32)>,
    /// Nothing but the named wishes counts; otherwise everything that the car has now
    #[arg(long)]
    pub(crate) only_named_wishes: bool,
    /// Do not use this part; may be given several times
    #[arg(long, value_name = "PART", action = ArgAction::Append)]
    pub(crate) exclude: Vec<String>,
    /// Only these parts can be bought; may be given several times
    #[arg(long, value_name = "PART", action = ArgAction::Append)]
    pub(crate) stock: Vec<String>,
    /// This part is there already; may be given several times
    #[arg(long, value_name = "PART", action = ArgAction::Append)]
    pub(crate) in_hand: Vec<String>,
    /// Consent to losing this, by name (hazard-switch, airbag-lamp, emergency-call, chime, antenna, speakers)
    #[arg(long, value_name = "NEED", value_parser = need, action = ArgAction::Append)]
    pub(crate) consent: Vec<v1::Need>,
    /// Your own price of a part in minor units (cents); wants --currency
    #[arg(
        long,
        value_name = "PART=MINOR_UNITS",
        value_parser = own_price,
        action = ArgAction::Append,
        requires = "currency"
    )]
    pub(crate) price: Vec<(String, u64)>,
    /// The currency of the prices, as an ISO 4217 code
    #[arg(long, value_name = "CODE")]
    pub(crate) currency: Option<String>,
    /// Let the plan use a lead that only feigns the parking brake; local law may forbid it
    #[arg(long)]
    pub(crate) feign_parking_brake: bool,
    /// Hold the checks against this, as standby-days=21; may be given several times
    #[arg(long, value_name = "RULE=VALUE", value_parser = rules::rule, action = ArgAction::Append)]
    pub(crate) rule: Vec<Rule>,
}

/// Plan a radio into a vehicle.
#[derive(Args, Debug)]
pub(crate) struct Plan {
    /// The radio, by its id
    #[arg(long, value_name = "RADIO")]
    pub(crate) radio: String,
    /// Joins, settings, steps and everything else too
    #[arg(long)]
    pub(crate) full: bool,
    /// Why: need, statement, record and evidence of each part and outcome
    #[arg(long)]
    pub(crate) explain: bool,
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) order: Order,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// Check a cart.
#[derive(Args, Debug)]
pub(crate) struct Cart {
    /// The radio, by its id; without it the one in the cart
    #[arg(long, value_name = "RADIO", default_value = "", hide_default_value = true)]
    pub(crate) radio: String,
    /// A line of the cart: part or radio by id or number, with a quantity; may be given several times
    #[arg(long = "item", value_name = "ITEM[:QUANTITY]", value_parser = cart_line, action = ArgAction::Append)]
    pub(crate) items: Vec<(String, u32)>,
    /// The cart as a file: JSON ({"vehicle": {"words": …}, "radio": …, "lines": [{"item": …, "quantity": 1}]}, or a list
    /// of such carts), or CSV with the header `item,quantity`
    #[arg(long, value_name = "FILE.json|FILE.csv", conflicts_with = "items")]
    pub(crate) file: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) order: Order,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// List the radios for a vehicle.
#[derive(Args, Debug)]
pub(crate) struct Radios {
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) order: Order,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) source: Source,
}

/// List the vehicles of a radio or of a part.
#[derive(Args, Debug)]
pub(crate) struct Vehicles {
    /// The part, by its id; with --radio only where it serves that radio
    #[arg(long, value_name = "PART", required_unless_present = "radio", conflicts_with = "Order")]
    pub(crate) part: Option<String>,
    /// The radio, by its id
    #[arg(long, value_name = "RADIO")]
    pub(crate) radio: Option<String>,
    /// Only vehicles that the radio goes into
    #[arg(long, conflicts_with = "part")]
    pub(crate) only_fitting: bool,
    #[command(flatten)]
    pub(crate) vehicle: Vehicle,
    #[command(flatten)]
    pub(crate) order: Order,
    #[command(flatten)]
    pub(crate) page: Page,
    #[command(flatten)]
    pub(crate) source: Source,
}

impl Order {
    /// The order as the service takes it.
    pub(crate) fn message(self) -> v1::Order {
        let Self {
            aim,
            wish,
            only_named_wishes,
            exclude,
            stock,
            in_hand,
            consent,
            price,
            currency,
            feign_parking_brake,
            rule,
        } = self;
        let wishes =
            wish.into_iter().map(|(need, weight)| v1::Wish { need: need.into(), weight: Some(weight) });
        let own_prices =
            price.into_iter().map(|(part_id, minor_units)| v1::OwnPrice { part_id, minor_units });
        let aim = match aim {
            Aim::LowestPrice => v1::Aim::LowestPrice,
            Aim::FewestParts => v1::Aim::FewestParts,
            Aim::LeastBenchTime => v1::Aim::LeastBenchTime,
        };
        v1::Order {
            wishes: wishes.collect(),
            only_named_wishes,
            aim: aim.into(),
            excluded_part_ids: exclude,
            stocked_part_ids: stock,
            in_hand_part_ids: in_hand,
            consented_losses: consent.into_iter().map(Into::into).collect(),
            own_prices: own_prices.collect(),
            currency: currency.unwrap_or_default(),
            feign_parking_brake,
            rules: rules::message(&rule),
        }
    }
}

/// A need as a person writes it: `hazard-switch`.
pub(super) fn need(text: &str) -> Result<v1::Need, OrderFault> {
    let name = text.to_uppercase().replace('-', "_");
    let known = v1::Need::from_str_name(&format!("NEED_{name}"));
    known.filter(|need| *need != v1::Need::Unspecified).ok_or(OrderFault::Need)
}

pub(super) fn wish(text: &str) -> Result<(v1::Need, u32), OrderFault> {
    let (name, weight) = text.split_once('=').unwrap_or((text, "1"));
    let need = need(name)?;
    let number = weight.parse().map_err(|_| OrderFault::Weight { found: weight.to_owned() })?;
    Ok((need, number))
}

fn own_price(text: &str) -> Result<(String, u64), OrderFault> {
    let (part, price) = text.split_once('=').ok_or(OrderFault::Price)?;
    let number = price.parse().map_err(|_| OrderFault::Amount { found: price.to_owned() })?;
    Ok((part.to_owned(), number))
}

/// What is wrong with a word of an order.
#[derive(Debug, thiserror::Error)]
pub(super) enum OrderFault {
    /// No need is called so.
    #[error("no need is called so; there are {}", need_names())]
    Need,
    /// The weight is none.
    #[error("`{found}` is no weight from 0 to 1000")]
    Weight { found: String },
    /// There is no price.
    #[error("it is not PART=MINOR_UNITS, as kit-7=1590")]
    Price,
    /// The price is no amount.
    #[error("`{found}` is no count of minor units, as 1590 for 15.90")]
    Amount { found: String },
}

/// The needs as a person writes them.
fn need_names() -> String {
    let names: Vec<String> = Need::NAMES.iter().map(|name| name.to_lowercase().replace('_', "-")).collect();
    names.join(", ")
}

/// A line of a cart: an item, and a quantity behind a colon.
fn cart_line(text: &str) -> Result<(String, u32), LineFault> {
    let (item, quantity) = text.rsplit_once(':').unwrap_or((text, "1"));
    match item.trim() {
        "" => Err(LineFault::NoItem),
        item => Ok((item.to_owned(), quantity_of(quantity)?)),
    }
}

/// A quantity of at least one.
pub(crate) fn quantity_of(text: &str) -> Result<u32, NoQuantity> {
    let found = text.trim();
    let quantity = found.parse::<u32>().ok().filter(|quantity| *quantity > 0);
    quantity.ok_or_else(|| NoQuantity { found: found.to_owned() })
}

/// Something that is no quantity.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is no quantity of at least 1")]
pub(crate) struct NoQuantity {
    found: String,
}

/// What is wrong with a line of a cart.
#[derive(Debug, thiserror::Error)]
enum LineFault {
    #[error("no item stands before the colon")]
    NoItem,
    #[error(transparent)]
    Quantity(#[from] NoQuantity),
}
