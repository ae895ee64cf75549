//! The passage as one JSON object: the contract, `schema` 1.

use super::gather::Passage;
use super::gather::Watch;
use super::keeping::Keeping;
use crate::view::Stamp;
use crate::view::json::Object;
use crate::view::json::object;

/// The object.
pub(super) fn json(passage: &Passage) -> String {
    let mut out = String::new();
    object(&mut out, |o| {
        o.number("schema", 1);
        o.text("journal", passage.journal.display());
        let iso = |utc: Option<i64>| Stamp { utc_ms: utc, since_start_ms: 0 }.iso();
        o.text_or_null("from", iso(passage.range.0));
        o.text_or_null("to", iso(passage.range.1));
        o.number("watches_in_journal", passage.known);
        o.objects("watches", &passage.watches, watch_json);
    });
    out
}

fn watch_json(o: &mut Object<'_>, watch: &Watch) {
    let row = &watch.row;
    o.number("watch", row.number);
    o.text_or_null("began", watch.stamp(0).iso());
    o.text_or_null("ended", watch.stamp(u64::try_from(row.lasted_ms).unwrap_or(0)).iso());
    o.number("lasted_s", fixed(row.lasted_ms as f64 / 1000.0, 1));
    o.text("ending", watch.ending());
    o.object("told_of", |o| {
        o.number("from_since_start_ms", watch.span.0);
        o.number("to_since_start_ms", watch.span.1);
    });
    o.text("version", &row.version);
    o.text_or_null("boat", row.boat.as_ref());
    o.flag("replayed", row.replayed);
    o.flag("asked", watch.somebody_was_asked());
    let settings = serde_json::from_str::<serde_json::Value>(&row.settings).ok().filter(serde_json::Value::is_object);
    o.number("settings", settings.unwrap_or(serde_json::Value::Null));
    o.objects("cards", &watch.cards, |o, card| {
        o.text("file", &card.file);
        o.text_or_null("sha256", card.digest.as_ref());
        o.text_or_null("sensor", card.sensor.as_ref());
        o.text_or_null("date", card.date.as_ref());
        o.object("coefficients", |o| {
            for (name, value) in ["A", "B", "C", "D", "E"].iter().zip(card.coefficients) {
                o.number_or_null(name, value.map(|mdeg| fixed(mdeg as f64 / 1000.0, 3)));
            }
        });
    });
    let episodes = watch.episodes();
    o.objects("alerts", watch.alert_accounts(&episodes), |o, account| {
        o.text("alert", &account.alert);
        o.text("instance", &account.instance);
        o.text("priority", &account.priority);
        o.number("raised", account.raised);
        o.number("stood_s", seconds(account.stood_ms));
        o.number("longest_s", seconds(account.longest_ms));
        o.flag("stands", account.stands);
        o.number("answered", account.answered);
        o.number("unanswered", account.unanswered);
        o.number_or_null("answer_mean_s", account.answer_mean_ms.map(seconds));
        o.number_or_null("answer_longest_s", account.answer_longest_ms.map(seconds));
        o.number("escalated", account.escalated);
        o.number("followed", account.followed);
    });
    o.objects("episodes", &episodes, |o, episode| {
        o.text("alert", &episode.alert);
        o.text("instance", &episode.instance);
        o.text("priority", &episode.priority);
        o.object("raised", |o| stamp_json(o, episode.raised));
        o.object_or_null("over", episode.over, stamp_json);
        o.object_or_null("answered", episode.answered, stamp_json);
        o.flag("escalated", episode.escalated);
        o.text_or_null("follows", episode.follows.as_ref());
        o.text("text", &episode.text);
    });
    let (total, hours) = watch.keeping();
    o.object("course_keeping", |o| {
        o.number("limit_deg", fixed(row.limit_mdeg as f64 / 1000.0, 3));
        o.object("total", |o| keeping_json(o, &total));
        o.objects("hours", hours, |o, (at, keeping)| {
            stamp_json(o, at);
            keeping_json(o, &keeping);
        });
    });
    o.objects("sources", watch.sources(), |o, account| {
        o.text("source", &account.source);
        o.number("minutes", account.minutes);
        o.number("sentences", account.sentences);
        o.number("refused", account.refused);
        o.number("bytes", account.bytes);
        o.number("gaps", account.gaps);
        o.number("longest_silence_s", fixed(account.longest_silence_ms as f64 / 1000.0, 1));
    });
    match watch.unjudged() {
        None => o.null("not_watched"),
        Some(unjudged) => o.objects("not_watched", unjudged, |o, one| {
            o.text("alert", &one.alert);
            o.number("s", seconds(one.ms));
            o.objects("why", &one.why, |o, (why, ms)| {
                o.text("why", why);
                o.number("s", seconds(*ms));
            });
        }),
    }
    let within = |at: &Stamp| (watch.span.0..=watch.span.1).contains(&at.since_start_ms);
    o.objects("changes", watch.alerts.iter().filter(|change| within(&change.at)), |o, change| {
        stamp_json(o, change.at);
        o.text("alert", &change.alert);
        o.text("priority", &change.priority);
        o.text("state", &change.state);
        o.text("instance", &change.instance);
        o.number("occurrence", change.occurrence);
        o.flag("escalated", change.escalated);
        o.flag("repeated", change.repeated);
        o.text_or_null("follows", change.follows.as_ref());
        o.text("text", &change.text);
        let values = serde_json::from_str::<serde_json::Value>(&change.values).ok();
        o.number("values", values.unwrap_or(serde_json::Value::Null));
    });
    o.objects("words", &watch.words, |o, word| {
        stamp_json(o, word.at);
        o.text("who", &word.who);
        o.text("what", &word.what);
        o.number_or_null("obeyed", word.obeyed);
        o.text("text", &word.text);
    });
    minutes_json(o, watch);
}

fn minutes_json(o: &mut Object<'_>, watch: &Watch) {
    let degrees = |mdeg: i64| fixed(mdeg as f64 / 1000.0, 1);
    o.objects("minutes", &watch.minutes, |o, minute| {
        stamp_json(o, minute.at);
        o.number("seconds", minute.samples);
        o.number("heading_seconds", minute.headings);
        o.number_or_null("heading_deg", minute.heading_mdeg.map(degrees));
        o.text_or_null("heading_reference", minute.heading_ref.as_ref());
        o.number_or_null("heading_true_deg", minute.true_mdeg.map(degrees));
        o.number_or_null("yaw_rms_deg", minute.yaw_mdeg.map(degrees));
        o.text("steering", &minute.steering);
        o.number_or_null("ordered_deg", minute.order_mdeg.map(degrees));
        o.text_or_null("ordered_reference", minute.order_ref.as_ref());
        o.number_or_null("off_deg", minute.off_mdeg.map(degrees));
        o.number_or_null("off_rms_deg", minute.off_rms_mdeg.map(degrees));
        o.number_or_null("course_true_deg", minute.course_mdeg.map(degrees));
        o.number_or_null("speed_kn", minute.speed_mkn.map(degrees));
        o.number_or_null("rudder_deg", minute.rudder_mdeg.map(degrees));
        o.number_or_null("rudder_travel_deg", minute.travel_mdeg.map(degrees));
        let e7 = |e7: i64| fixed(e7 as f64 / 1e7, 7);
        o.number_or_null("latitude_deg", minute.position_e7.map(|place| e7(place.0)));
        o.number_or_null("longitude_deg", minute.position_e7.map(|place| e7(place.1)));
    });
}

fn stamp_json(o: &mut Object<'_>, at: Stamp) {
    o.text_or_null("at", at.iso());
    o.number("since_start_ms", at.since_start_ms);
}

fn keeping_json(o: &mut Object<'_>, keeping: &Keeping) {
    let degrees = |value: f64| fixed(value, 2);
    o.number("minutes", keeping.minutes);
    o.number("judged_s", keeping.judged_s);
    o.number("doubted_s", keeping.doubted_s);
    o.number_or_null("off_deg", keeping.off_deg().map(degrees));
    o.number_or_null("off_rms_deg", keeping.off_rms_deg().map(degrees));
    o.number_or_null("within", keeping.within().map(|part| fixed(part, 4)));
    o.number_or_null("yaw_rms_deg", keeping.yaw_deg().map(degrees));
    o.number_or_null("rudder_deg", keeping.rudder_deg().map(degrees));
    o.number_or_null("rudder_travel_deg_per_min", keeping.travel_deg_per_min().map(degrees));
    o.number_or_null("speed_kn", keeping.speed_kn().map(degrees));
    o.number_or_null("distance_nm", keeping.distance_nm().map(degrees));
}

fn seconds(ms: u64) -> String {
    format!("{}.{}", ms / 1000, ms / 100 % 10)
}

fn fixed(value: f64, places: usize) -> String {
    format!("{:.places$}", value + 0.0)
}
