//! Which role may make which call: one table for every method that is served.

use dashwright_engine::keys::Role;

/// What a call needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Nothing: it tells nothing of the dataset.
    Open,
    /// A key with this role.
    Role(Role),
}

impl Need {
    /// Whether a call that needs this changes nothing and is no office work.
    pub(crate) fn only_reads(self) -> bool {
        matches!(self, Self::Open | Self::Role(Role::Reader))
    }
}

/// One method of a service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Row {
    method: &'static str,
    /// What a call of it needs.
    pub(super) need: Need,
    /// Whether the caller or the service sends more than one message, so that it may last long.
    pub(super) streams: bool,
}

/// One service and its methods.
struct Service {
    name: &'static str,
    methods: &'static [Row],
}

const fn row(method: &'static str, role: Role) -> Row {
    Row { method, need: Need::Role(role), streams: false }
}

const fn stream(method: &'static str, role: Role) -> Row {
    Row { method, need: Need::Role(role), streams: true }
}

const fn open(method: &'static str) -> Row {
    Row { method, need: Need::Open, streams: false }
}

const fn open_stream(method: &'static str) -> Row {
    Row { method, need: Need::Open, streams: true }
}

/// Every method of every service. To add a method, add a row; one without a row fails a test, and nobody may call it.
const SERVICES: &[Service] = &[
    Service {
        name: "dashwright.v1.FitmentService",
        methods: &[
            row("ListChoices", Role::Reader),
            row("ResolveVehicle", Role::Reader),
            row("LookUpFitment", Role::Reader),
            row("PlanInstall", Role::Reader),
            row("CheckCart", Role::Reader),
            stream("CheckCarts", Role::Reader),
            row("ListRadiosForVehicle", Role::Reader),
            row("ListVehiclesForRadio", Role::Reader),
            row("ListVehiclesForPart", Role::Reader),
            row("SizeFeed", Role::Reader),
        ],
    },
    Service {
        name: "dashwright.v1.SheetService",
        methods: &[row("RenderBenchSheet", Role::Reader), row("RenderPicture", Role::Reader)],
    },
    Service {
        name: "dashwright.v1.CatalogueService",
        methods: &[
            row("GetRecord", Role::Reader),
            row("ListRecords", Role::Reader),
            row("SearchRecords", Role::Reader),
            row("GetDatasetInfo", Role::Reader),
            row("GetRecordSchema", Role::Reader),
        ],
    },
    Service {
        name: "dashwright.v1.CurationService",
        methods: &[
            row("CreateDraft", Role::Curator),
            row("GetDraft", Role::Curator),
            row("ListDrafts", Role::Curator),
            row("EditDraft", Role::Curator),
            row("BulkEditDraft", Role::Curator),
            row("ValidateDraft", Role::Curator),
            row("ListDraftHoles", Role::Curator),
            stream("PreviewDraft", Role::Curator),
            row("ListFindings", Role::Curator),
            row("ListDraftGoldenAnswers", Role::Curator),
            row("ListGoldenAnswers", Role::Curator),
            row("ListHoles", Role::Curator),
            stream("ImportRecords", Role::Curator),
            row("DiscardDraft", Role::Curator),
            row("PublishDraft", Role::Publisher),
            row("RevertRevision", Role::Curator),
            stream("ExportRecords", Role::Reader),
        ],
    },
    Service {
        name: "dashwright.v1.FeedbackService",
        methods: &[
            row("ReportOutcome", Role::Reader),
            row("ListOutcomes", Role::Curator),
            row("ResolveOutcome", Role::Curator),
        ],
    },
    Service {
        name: "dashwright.v1.AuditService",
        methods: &[
            row("ListRevisions", Role::Auditor),
            row("DiffRevisions", Role::Auditor),
            row("ListEntries", Role::Auditor),
            row("GetProof", Role::Auditor),
            row("GetCheckpoint", Role::Auditor),
            stream("WatchRevisions", Role::Auditor),
        ],
    },
    Service {
        name: "dashwright.v1.KeyService",
        methods: &[
            row("CreateKey", Role::Operator),
            row("ListKeys", Role::Operator),
            row("RevokeKey", Role::Operator),
            stream("Backup", Role::Operator),
        ],
    },
    // Balancers and tools ask these before they have a key; the schema is published anyway.
    Service { name: "grpc.health.v1.Health", methods: &[open("Check"), open_stream("Watch")] },
    Service { name: "grpc.reflection.v1.ServerReflection", methods: &[open_stream("ServerReflectionInfo")] },
    Service {
        name: "grpc.reflection.v1alpha.ServerReflection",
        methods: &[open_stream("ServerReflectionInfo")],
    },
];

/// Whether the method of a path has more than one message of either side.
pub(crate) fn streams(path: &str) -> bool {
    row_of(path).is_some_and(|row| row.streams)
}

/// The row of a path, `/package.Service/Method`; none for a path of no method.
pub(super) fn row_of(path: &str) -> Option<Row> {
    let (service, method) = path.strip_prefix('/')?.split_once('/')?;
    let service = SERVICES.iter().find(|it| it.name == service)?;
    service.methods.iter().find(|it| it.method == method).copied()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use prost::Message as _;
    use prost_types::{FileDescriptorSet, MethodDescriptorProto};

    use super::*;

    /// Every path of the descriptor sets of what is served, and whether it streams.
    fn served() -> BTreeMap<String, bool> {
        let sets = [
            dashwright_api::DESCRIPTORS,
            tonic_health::pb::FILE_DESCRIPTOR_SET,
            tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
            tonic_reflection::pb::v1alpha::FILE_DESCRIPTOR_SET,
        ];
        let mut paths = BTreeMap::new();
        for file in sets.iter().flat_map(|set| FileDescriptorSet::decode(*set).unwrap().file) {
            for service in &file.service {
                let path = |method: &str| format!("/{}.{}/{method}", file.package(), service.name());
                let streams = |it: &MethodDescriptorProto| it.client_streaming() || it.server_streaming();
                paths.extend(service.method.iter().map(|it| (path(it.name()), streams(it))));
            }
        }
        paths
    }

    #[test]
    fn every_method_has_one_row_and_every_row_a_method() {
        let mut rows: Vec<String> = Vec::new();
        for service in SERVICES {
            rows.extend(service.methods.iter().map(|row| format!("/{}/{}", service.name, row.method)));
        }
        rows.sort();
        assert_eq!(rows, served().into_keys().collect::<Vec<_>>());
    }

    #[test]
    fn only_what_tells_nothing_of_the_dataset_is_open_and_the_rest_knows_its_streams() {
        for (path, streams) in served() {
            let row = row_of(&path).unwrap();
            assert_eq!(row.need == Need::Open, path.starts_with("/grpc."), "{path}");
            assert_eq!(row.streams, streams, "{path}");
        }
    }

    #[test]
    fn a_path_of_no_method_has_no_row() {
        let service = "dashwright.v1.KeyService";
        for path in ["", "/", &format!("/{service}"), &format!("/{service}/"), &format!("{service}/ListKeys")]
        {
            assert_eq!(row_of(path), None, "{path}");
        }
    }
}
