//! Direct feeds.

use dashwright_checks::conductor::area;
use dashwright_checks::feed::{Feed, FeedQuestion, Lack, Laid, Rejected, Return};

use super::page::{Page, warning};
use super::terms::Plain;

/// The width of labels.
const LABEL: usize = 11;
const PERCENT: f64 = 100.0;

/// What to mind with every feed.
pub(crate) const FEED_CAUTIONS: [&str; 4] = [
    "the vehicle maker's service information, local codes and a licensed technician have the last word",
    "battery negative off before anything is joined",
    "the fuse sits at the source, as close to the battery as it can, and protects the conductor behind it",
    "a larger fuse never cures an overload",
];

/// A feed.
pub(crate) fn feed(question: &FeedQuestion, feed: &Feed, columns: usize) -> String {
    let FeedQuestion { load, supply, length, returns, ambient, series: _, rules } = question;
    let Feed { laid, fuse, thinner } = feed;
    let mut page = Page::new(columns);
    let back = match returns {
        Return::Wire => "and back through a wire",
        Return::Chassis => "and back through the body",
    };
    page.heading(&format!("Feed for {:.4} A from {supply} over {length} {back}", Plain(load.get())));
    let Laid { conductor, limit, .. } = laid;
    page.labelled(2, "conductor", LABEL, &format!("{conductor}, {:.3} mm² of copper", area(*conductor)));
    let allowed = rules.allowed_drop.get() * PERCENT;
    page.labelled(2, "lost", LABEL, &format!("{}; {:.2} % are allowed", lost(laid), Plain(allowed)));
    let fuse = format!(
        "{}, {}, blade fuse of type {} (ISO 8820-3), at the battery",
        fuse.rating,
        fuse.colour,
        fuse.kind.letter()
    );
    page.labelled(2, "fuse", LABEL, &fuse);
    let carries =
        format!("{:.1} A for good in air of {ambient}, insulation for {}", limit.get(), rules.insulation);
    page.labelled(2, "carries", LABEL, &carries);
    if let Some(thinner) = thinner {
        let why = format!("{} will not do: {}", thinner.laid.conductor, lacks(thinner));
        page.labelled(2, "thinner", LABEL, &why);
    }
    page.heading("Mind");
    for caution in FEED_CAUTIONS {
        page.line(2, &warning(caution));
    }
    page.finish()
}

/// What a conductor lacks.
pub(crate) fn lacks(rejected: &Rejected) -> String {
    let Rejected { laid, lacks } = rejected;
    let told = lacks.iter().map(|lack| match lack {
        Lack::Drop { allowed } => format!("{}, more than {:.3} V", lost(laid), allowed.get()),
        Lack::Current { fuse } => {
            format!("it carries {:.1} A for good, less than the fuse of {fuse}", laid.limit.get())
        }
    });
    told.collect::<Vec<_>>().join("; ")
}

fn lost(laid: &Laid) -> String {
    let Laid { drop, drop_share, resistance, .. } = laid;
    let (volts, percent, milliohms) = (drop.get(), drop_share.get() * PERCENT, resistance.get() * 1e3);
    format!("{volts:.3} V ({percent:.2} %) on {milliohms:.2} mΩ")
}
