//! `SizeFeed`: the conductor and the fuse of a direct feed.

use dashwright_api::v1;
use dashwright_checks::feed::size_feed;

use crate::from_proto::{FieldFaults, feed};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) fn sized_feed(&self, request: v1::SizeFeedRequest) -> Result<v1::SizeFeedResponse, Refusal> {
        let mut faults = FieldFaults::default();
        let question = feed(request, &mut faults);
        let question = faults.with(question)?;
        Ok(to_proto::sized_feed(&question, size_feed(&question)))
    }
}
