//! Compiles proto/ with a pure-Rust compiler, so that nobody has to install one.

use std::error::Error;
use std::path::{Path, PathBuf};

use prost::Message as _;

/// The files of the schema.
const FILES: &[&str] = &[
    "dashwright/v1/audit.proto",
    "dashwright/v1/bulk.proto",
    "dashwright/v1/cart.proto",
    "dashwright/v1/catalogue.proto",
    "dashwright/v1/check.proto",
    "dashwright/v1/common.proto",
    "dashwright/v1/curation.proto",
    "dashwright/v1/draft.proto",
    "dashwright/v1/errors.proto",
    "dashwright/v1/exchange.proto",
    "dashwright/v1/feed.proto",
    "dashwright/v1/feedback.proto",
    "dashwright/v1/findings.proto",
    "dashwright/v1/fitment.proto",
    "dashwright/v1/fitment_service.proto",
    "dashwright/v1/golden.proto",
    "dashwright/v1/keys.proto",
    "dashwright/v1/plan.proto",
    "dashwright/v1/preview.proto",
    "dashwright/v1/reverse.proto",
    "dashwright/v1/sheet.proto",
    "dashwright/v1/terms.proto",
    "dashwright/v1/vehicle.proto",
    "dashwright/v1/work.proto",
];

fn main() -> Result<(), Box<dyn Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../proto");
    println!("cargo:rerun-if-changed={}", root.display());
    let set = protox::compile(FILES, [&root])?;
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    std::fs::write(out.join("descriptors.bin"), set.encode_to_vec())?;

    // In the order of their keys, or the same answer would be other bytes every time.
    tonic_prost_build::configure().btree_map(".").compile_fds(set.clone())?;

    // A second server, in which the answers to look-ups and plans are bytes that were encoded before: see `reply.rs`.
    let replies = out.join("replies");
    std::fs::create_dir_all(&replies)?;
    tonic_prost_build::configure()
        .btree_map(".")
        .out_dir(&replies)
        .build_client(false)
        .codec_path("crate::codec::FittingCodec")
        .extern_path(".dashwright.v1", "crate::v1")
        .extern_path(".dashwright.v1.LookUpFitmentResponse", "crate::reply::Reply")
        .extern_path(".dashwright.v1.PlanInstallResponse", "crate::reply::Reply")
        .compile_fds(set)?;
    Ok(())
}
