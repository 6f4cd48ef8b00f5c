//! `demo`: the invented catalogue on a temporary directory, and one question to it over gRPC.

use std::path::Path;

use dashwright_api::v1;
use dashwright_engine::Engine;
use dashwright_grpc::Service;
use dashwright_grpc::auth::Access;
use tokio::task::spawn_blocking;

use crate::args::{Demo, LogFormat};
use crate::client::{self, Connection};
use crate::failure::Failure;
use crate::serve::Door;
use crate::telemetry::Telemetry;
use crate::wiring::{self, Signals};
use crate::{dataset, out, serve, text};

/// Says how much of the log a demo writes.
const LOG_VARIABLE: &str = "RUST_LOG";
/// Log lines that it writes otherwise: none but those that somebody has to know of.
const LOGGED: &str = "error";

/// What the demo asks: as a customer says it at the counter, without the factory audio option that decides the parts.
const QUESTION: &str = "2013 orvane tamsel hatchback";
/// The radio that the customer has in mind.
const RADIO: &str = "sonquill-rowan-2";

/// Serves the invented catalogue and asks it a question.
pub(crate) fn demo(arguments: &Demo) -> Result<(), Failure> {
    serve::refuse_beyond_this_machine(arguments.listen)?;
    let filter = std::env::var(LOG_VARIABLE).ok().filter(|filter| !filter.is_empty());
    let filter = filter.as_deref().unwrap_or(LOGGED);
    // It goes when this function ends, whichever way.
    let directory = tempfile::Builder::new().prefix("dashwright-demo-").tempdir().map_err(Failure::System)?;
    let result = wiring::block_on(async {
        let _telemetry = Telemetry::begin(LogFormat::Text, filter, None)?;
        run(arguments, directory.path()).await
    });
    directory.close().map_err(Failure::System)?;
    result
}

async fn run(arguments: &Demo, directory: &Path) -> Result<(), Failure> {
    let mut signals = Signals::take()?;
    let listener = wiring::listen(arguments.listen).await?;
    let address = format!("http://{}", listener.local_addr().map_err(Failure::System)?);
    let directory = directory.join("data");
    let imports = dataset::imports_of(&directory);
    let engine = spawn_blocking(move || begin(&directory)).await;
    let engine = engine.map_err(|error| Failure::System(error.into()))??;
    let door = Door::plain(listener, Access::by(engine.keys()));
    let server = serve::until_signal(Service::new(engine, imports), door, &mut signals);
    tokio::pin!(server);
    tokio::select! {
        ended = &mut server => return ended,
        asked = ask(arguments, &address) => asked?,
    }
    if arguments.once { Ok(()) } else { server.await }
}

/// The invented catalogue as revision 1 of a new dataset.
fn begin(directory: &Path) -> Result<Engine, Failure> {
    dataset::begin(directory)?;
    let engine = dataset::start(directory, None)?;
    let records = dashwright_demo::records()?;
    dataset::publish_quietly(&engine, records, &dataset::origin("the invented catalogue"), |_| {})?;
    Ok(engine)
}

async fn ask(arguments: &Demo, address: &str) -> Result<(), Failure> {
    let connection = Connection::open_here(address).await?;
    let vehicle = v1::VehicleQuestion { words: QUESTION.to_owned(), ..v1::VehicleQuestion::default() };
    let request = v1::PlanInstallRequest {
        vehicle: Some(vehicle.clone()),
        radio_id: RADIO.to_owned(),
        ..v1::PlanInstallRequest::default()
    };
    let answer = client::ask_plan(&connection, request).await?;
    out::print(&if arguments.json {
        client::plan_as_json(&answer)?
    } else {
        text::plan(&vehicle, &answer, &text::Records::default(), text::Shown::default(), out::columns())
    })?;
    if arguments.once {
        return Ok(());
    }
    let invitation = text::invitation(&program(), address);
    if arguments.json {
        anstream::eprint!("{invitation}");
        return Ok(());
    }
    out::print(&invitation)
}

/// How this program was called, for commands that can be pasted.
fn program() -> String {
    let called = std::env::args().next().unwrap_or_default();
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+".contains(c);
    if called.is_empty() {
        "dashwright".to_owned()
    } else if called.chars().all(plain) {
        called
    } else {
        format!("'{}'", called.replace('\'', r"'\''"))
    }
}
