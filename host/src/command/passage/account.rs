//! The accounts of a watch: each alert, the sources, what was not judged.

use std::collections::BTreeMap;

use super::gather::Watch;
use crate::journal::AlertEntry;
use crate::view::Stamp;

/// One time that an alert was raised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Episode {
    pub(super) alert: String,
    pub(super) instance: String,
    /// The highest it came to.
    pub(super) priority: String,
    pub(super) raised: Stamp,
    /// When what it saw was over; none where it still stood at the end.
    pub(super) over: Option<Stamp>,
    /// When somebody answered.
    pub(super) answered: Option<Stamp>,
    pub(super) escalated: bool,
    /// The alert it followed from when it was raised.
    pub(super) follows: Option<String>,
    pub(super) text: String,
}

/// One alert over a watch.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct AlertAccount {
    pub(super) alert: String,
    pub(super) instance: String,
    pub(super) priority: String,
    pub(super) raised: usize,
    pub(super) stood_ms: u64,
    pub(super) longest_ms: u64,
    /// Still standing at the end of what is told of.
    pub(super) stands: bool,
    pub(super) answered: usize,
    pub(super) answer_longest_ms: Option<u64>,
    pub(super) answer_mean_ms: Option<u64>,
    /// Those that ask for an answer and had none.
    pub(super) unanswered: usize,
    pub(super) escalated: usize,
    pub(super) followed: usize,
}

/// How a source fared.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct SourceAccount {
    pub(super) source: String,
    pub(super) minutes: usize,
    pub(super) sentences: i64,
    pub(super) refused: i64,
    pub(super) bytes: i64,
    pub(super) gaps: i64,
    pub(super) longest_silence_ms: i64,
}

/// An alert that was not judged, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Unjudged {
    pub(super) alert: String,
    pub(super) ms: u64,
    /// The reasons with their times, longest first.
    pub(super) why: Vec<(String, u64)>,
}

fn rank(priority: &str) -> u8 {
    match priority {
        "alarm" => 2,
        "warning" => 1,
        _ => 0,
    }
}

impl Watch {
    /// Every time an alert was raised or still stood in what is told of, as they came.
    pub(super) fn episodes(&self) -> Vec<Episode> {
        let mut all: Vec<Episode> = Vec::new();
        let mut open: BTreeMap<(&str, &str), usize> = BTreeMap::new();
        // What is over and nobody has answered.
        let mut waiting: BTreeMap<(&str, &str), usize> = BTreeMap::new();
        for change in self.alerts.iter().filter(|change| change.at.since_start_ms <= self.span.1) {
            let key = (change.alert.as_str(), change.instance.as_str());
            let is_over = matches!(change.state.as_str(), "normal" | "rectified-unacknowledged");
            match open.get(&key).and_then(|place| all.get_mut(*place).map(|episode| (*place, episode))) {
                None if is_over => {
                    if let Some(episode) = waiting.remove(&key).and_then(|place| all.get_mut(place)) {
                        episode.answered = Some(change.at);
                    }
                }
                None => {
                    waiting.remove(&key);
                    open.insert(key, all.len());
                    all.push(raised(change));
                }
                Some((place, episode)) => {
                    if rank(&change.priority) > rank(&episode.priority) {
                        episode.priority.clone_from(&change.priority);
                    }
                    episode.escalated |= change.escalated;
                    if change.state == "active-acknowledged" && episode.answered.is_none() {
                        episode.answered = Some(change.at);
                    }
                    if is_over {
                        episode.over = Some(change.at);
                        open.remove(&key);
                        if change.state == "rectified-unacknowledged" {
                            waiting.insert(key, place);
                        }
                    }
                }
            }
        }
        all.retain(|episode| episode.over.is_none_or(|over| over.since_start_ms >= self.span.0));
        all
    }

    /// Each alert of the watch, the most urgent first.
    pub(super) fn alert_accounts(&self, episodes: &[Episode]) -> Vec<AlertAccount> {
        let mut accounts: Vec<AlertAccount> = Vec::new();
        let mut answers: Vec<Vec<u64>> = Vec::new();
        for episode in episodes {
            let known = accounts.iter().position(|a| a.alert == episode.alert && a.instance == episode.instance);
            let place = known.unwrap_or_else(|| {
                accounts.push(AlertAccount {
                    alert: episode.alert.clone(),
                    instance: episode.instance.clone(),
                    priority: episode.priority.clone(),
                    ..AlertAccount::default()
                });
                answers.push(Vec::new());
                accounts.len() - 1
            });
            let (account, answers) = (&mut accounts[place], &mut answers[place]);
            account.raised += 1;
            if rank(&episode.priority) > rank(&account.priority) {
                account.priority.clone_from(&episode.priority);
            }
            let raised = episode.raised.since_start_ms;
            let stood = episode.over.map_or(self.span.1, |over| over.since_start_ms).saturating_sub(raised);
            account.stood_ms += stood;
            account.longest_ms = account.longest_ms.max(stood);
            account.stands |= episode.over.is_none();
            account.escalated += usize::from(episode.escalated);
            account.followed += usize::from(episode.follows.is_some());
            match episode.answered {
                Some(answered) => answers.push(answered.since_start_ms.saturating_sub(raised)),
                None => account.unanswered += usize::from(episode.priority != "caution"),
            }
        }
        for (account, answers) in accounts.iter_mut().zip(answers) {
            account.answered = answers.len();
            account.answer_longest_ms = answers.iter().copied().max();
            account.answer_mean_ms = answers.iter().sum::<u64>().checked_div(answers.len() as u64);
        }
        accounts.sort_by_key(|account| std::cmp::Reverse(rank(&account.priority)));
        accounts
    }

    /// Each source of the watch, in the order they were first heard of.
    pub(super) fn sources(&self) -> Vec<SourceAccount> {
        let mut accounts: Vec<SourceAccount> = Vec::new();
        for health in &self.health {
            let known = accounts.iter().position(|account| account.source == health.source);
            let place = known.unwrap_or_else(|| {
                accounts.push(SourceAccount { source: health.source.clone(), ..SourceAccount::default() });
                accounts.len() - 1
            });
            let account = &mut accounts[place];
            account.minutes += 1;
            account.sentences += health.sentences;
            account.refused += health.refused;
            account.bytes += health.bytes;
            account.gaps += health.gaps;
            account.longest_silence_ms = account.longest_silence_ms.max(health.silent_ms);
        }
        accounts
    }

    /// What was not judged for a minute or more; none where the journal does not know.
    pub(super) fn unjudged(&self) -> Option<Vec<Unjudged>> {
        let judging = self.judging.as_ref()?;
        let mut all: Vec<Unjudged> = Vec::new();
        for (place, judges) in judging.iter().enumerate() {
            let Some(why) = &judges.why else { continue };
            let same = |other: &&crate::journal::Judges| other.alert == judges.alert;
            // The first word on an alert is of the minute before it.
            let is_first = !judging.iter().take(place).any(|other| same(&other));
            let begin = if is_first { 0 } else { judges.at.since_start_ms };
            let end = judging.iter().skip(place + 1).find(same).map_or(self.span.1, |next| next.at.since_start_ms);
            let ms = end.min(self.span.1).saturating_sub(begin.max(self.span.0));
            if ms == 0 {
                continue;
            }
            let known = all.iter().position(|unjudged| unjudged.alert == judges.alert);
            let known = known.unwrap_or_else(|| {
                all.push(Unjudged { alert: judges.alert.clone(), ms: 0, why: Vec::new() });
                all.len() - 1
            });
            let unjudged = &mut all[known];
            unjudged.ms += ms;
            match unjudged.why.iter_mut().find(|(known, _)| known == why) {
                Some((_, sum)) => *sum += ms,
                None => unjudged.why.push((why.clone(), ms)),
            }
        }
        for unjudged in &mut all {
            unjudged.why.sort_by_key(|(_, ms)| std::cmp::Reverse(*ms));
        }
        all.sort_by_key(|unjudged| std::cmp::Reverse(unjudged.ms));
        Some(all)
    }
}

fn raised(change: &AlertEntry) -> Episode {
    Episode {
        alert: change.alert.clone(),
        instance: change.instance.clone(),
        priority: change.priority.clone(),
        raised: change.at,
        over: None,
        answered: (change.state == "active-acknowledged").then_some(change.at),
        escalated: change.escalated,
        follows: change.follows.clone(),
        text: change.text.clone(),
    }
}
