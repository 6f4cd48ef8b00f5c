//! What the model reads from vehicle identification numbers: one on each line of standard input, one JSON line for each.
//!
//! It is the near side of the comparison with independent decoders, `tests/oracles/vin_oracle.py`.

use std::io::{self, BufRead, Write};

use dashwright_model::vin::{CheckDigit, Position7Rule, Vin, VinError, VinFault};
use serde_json::{Value, json};

fn main() -> io::Result<()> {
    let mut out = io::BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let line = line?;
        writeln!(out, "{}", answer(&line))?;
    }
    out.flush()
}

fn answer(line: &str) -> Value {
    match Vin::parse(line) {
        Ok(vin) => reading(&vin),
        Err(error) => refusal(&error),
    }
}

fn reading(vin: &Vin) -> Value {
    let light = vin.model_years(Position7Rule::MayBeUsed);
    let any = vin.model_years(Position7Rule::MayNot);
    json!({
        "vin": vin,
        "maker_code": vin.maker_code(),
        "north_american": vin.maker_code().is_north_american(),
        "check_digit_right": vin.check_digit() == CheckDigit::Right,
        "check_digit_required": vin.check_digit_required(),
        "light": light,
        "any": any,
        "concerns": vin.concerns(),
    })
}

fn refusal(error: &VinError) -> Value {
    let faults: Vec<Value> = error
        .faults()
        .iter()
        .map(|fault| match fault {
            VinFault::Empty => json!({ "fault": "empty" }),
            VinFault::Length { found } => json!({ "fault": "length", "found": found }),
            VinFault::Character { position, found } => {
                json!({ "fault": "character", "position": position, "found": found })
            }
        })
        .collect();
    json!({ "refused": faults, "told": error.to_string() })
}
