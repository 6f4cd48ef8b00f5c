//! `CheckCarts`: a stream of carts, one answer each, in their order, all from one revision.

use std::pin::pin;
use std::sync::Arc;

use dashwright_api::v1;
use dashwright_engine::{Freshness, View};
use dashwright_quantity::MAX_LABEL_CHARS;
use futures_util::{Stream, StreamExt as _};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Status, Streaming};

use super::check_cart::check;
use crate::callers::Account;
use crate::from_proto::{FieldFaults, FieldProblem, read_at};
use crate::limits::{CARTS_IN_FLIGHT, CARTS_PER_STREAM};
use crate::{Refusal, Service};

/// The answer to a cart, or what ends the stream.
type Answer = Result<v1::CheckCartsResponse, Status>;
/// The answers of a stream.
pub(crate) type Answers = ReceiverStream<Answer>;

impl Service {
    /// Answers as they are read: a reader that does not read holds at most so many, and the carts behind them wait in the
    /// transport.
    pub(crate) fn checked_carts(
        &self,
        account: Option<Arc<Account>>,
        carts: Streaming<v1::CheckCartsRequest>,
    ) -> Answers {
        let (answers, stream) = mpsc::channel(CARTS_IN_FLIGHT);
        let service = self.clone();
        tokio::spawn(async move {
            // A reader that has gone ends the work: the send fails.
            let carts = pin!(carts.then(|cart| in_turn(account.as_deref(), cart)));
            let _gone = service.answer(carts, &answers).await;
        });
        ReceiverStream::new(stream)
    }

    async fn answer(
        &self,
        mut carts: impl Stream<Item = Result<v1::CheckCartsRequest, Status>> + Unpin,
        answers: &mpsc::Sender<Answer>,
    ) -> Result<(), mpsc::error::SendError<Answer>> {
        let mut view: Option<Arc<View>> = None;
        let mut count = 0;
        while let Some(cart) = self.arriving(&mut carts).await {
            count += 1;
            let answer = self.next(cart, count, &mut view).await;
            let ends = answer.is_err();
            answers.send(answer).await?;
            if ends {
                return Ok(());
            }
        }
        Ok(())
    }

    /// The next cart. When the service goes down what has arrived is answered; what comes later goes to
    /// another one.
    async fn arriving(
        &self,
        carts: &mut (impl Stream<Item = Result<v1::CheckCartsRequest, Status>> + Unpin),
    ) -> Option<Result<v1::CheckCartsRequest, Status>> {
        // A stream of small carts must not keep other calls from the processor.
        tokio::task::yield_now().await;
        tokio::select! {
            biased;
            cart = carts.next() => cart,
            () = self.going_down() => Some(Err(Refusal::Draining.into())),
        }
    }

    /// The answer to the next cart, or what ends the stream.
    async fn next(
        &self,
        cart: Result<v1::CheckCartsRequest, Status>,
        count: usize,
        view: &mut Option<Arc<View>>,
    ) -> Answer {
        let bare = |status: Status| Refusal::of_transport(status.code()).map_or(status, Into::into);
        let cart = cart.map_err(bare)?;
        if count > CARTS_PER_STREAM {
            return Err(Refusal::TooManyCarts.into());
        }
        let is_first = view.is_none();
        let read = match view {
            Some(view) => Arc::clone(view),
            None => self.first_view(&cart).await?,
        };
        let answer = one(&read, cart, is_first);
        *view = Some(read);
        Ok(answer)
    }

    /// The view for the whole stream, as the first cart states it.
    async fn first_view(&self, cart: &v1::CheckCartsRequest) -> Result<Arc<View>, Refusal> {
        let stated = cart.cart.as_ref().and_then(|cart| cart.read_at.clone());
        let mut faults = FieldFaults::default();
        let at: Freshness = read_at(stated, &mut faults);
        faults.or(())?;
        self.view(at).await
    }
}

/// A cart when its turn has come: each counts like a call of its caller.
async fn in_turn<T>(account: Option<&Account>, cart: T) -> T {
    if let Some(account) = account {
        account.turn().await;
    }
    cart
}

/// The answer to one cart, or why there is none.
fn one(view: &View, request: v1::CheckCartsRequest, is_first: bool) -> v1::CheckCartsResponse {
    let v1::CheckCartsRequest { correlation_id, cart } = request;
    let mut faults = FieldFaults::default();
    faults.count("correlation_id", correlation_id.chars().count(), MAX_LABEL_CHARS);
    let cart = cart.unwrap_or_default();
    if !is_first && cart.read_at.is_some() {
        faults.take::<()>("cart.read_at", Err(FieldProblem::OnlyInFirst));
    }
    let result = match check(view, cart, faults) {
        Ok(answer) => v1::check_carts_response::Result::Answer(answer),
        Err(refusal) => v1::check_carts_response::Result::Error(refusal.told_in_stream()),
    };
    v1::CheckCartsResponse { correlation_id, result: Some(result) }
}
