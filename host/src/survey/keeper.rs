//! Puts what arrives where it belongs, and tells the lever so.
//!
//! A reading goes to the survey it names, where the store has that; everything else is kept as it
//! came. Deliberately not here: ports and retries.
//!
//! Invariant: a session hears that a record is kept only behind the store's own commit.

use std::time::Instant;

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Hello;

use super::{Calendar, Heard, NOT_FIT_MAX, Observer, STALLED_MAX, Summary, SurveyError};
use crate::instrument::pin_name;
use crate::link::session::{ArrivedRecord, Event, HeldRecord, Request, Session};
use crate::store::{Committed, Contact, NewRecord, Store, SurveyId};

/// The caller's side of a conversation.
pub(super) struct Keeper<'a> {
    store: &'a mut Store,
    calendar: Calendar,
    /// Identity and key of the survey being taken.
    survey: Option<(u64, SurveyId)>,
    pub(super) observer: &'a mut dyn Observer,
    pub(super) pin_count: usize,
    pub(super) summary: Summary,
    pub(super) heard: Heard,
    last_progress: Instant,
    not_fit_since: Option<Instant>,
    load_refused: Option<CommandResult>,
}

impl<'a> Keeper<'a> {
    /// For a survey of that identity and key.
    pub(super) fn of_survey(
        store: &'a mut Store,
        calendar: Calendar,
        survey: (u64, SurveyId),
        observer: &'a mut dyn Observer,
    ) -> Keeper<'a> {
        Keeper { survey: Some(survey), ..Keeper::of_errand(store, calendar, observer) }
    }

    /// For a fetch, a load or a question.
    pub(super) fn of_errand(
        store: &'a mut Store,
        calendar: Calendar,
        observer: &'a mut dyn Observer,
    ) -> Keeper<'a> {
        Keeper {
            store,
            calendar,
            survey: None,
            observer,
            pin_count: 0,
            summary: Summary::default(),
            heard: Heard::default(),
            last_progress: Instant::now(),
            not_fit_since: None,
            load_refused: None,
        }
    }

    /// The store, between two records.
    pub(super) fn store(&mut self) -> &mut Store {
        self.store
    }

    /// Something came of the conversation.
    pub(super) fn got_somewhere(&mut self) {
        self.last_progress = Instant::now();
    }

    /// An errand that gets nowhere ends; a survey waits for the technician.
    pub(super) fn check_stalled(&self) -> Result<(), SurveyError> {
        let is_stalled = self.survey.is_none() && self.last_progress.elapsed() > STALLED_MAX;
        if is_stalled { Err(SurveyError::Stalled) } else { Ok(()) }
    }

    pub(super) fn take_event(
        &mut self,
        event: Event,
        session: &mut Session,
        now_ms: u64,
    ) -> Result<(), SurveyError> {
        match event {
            Event::Greeted(hello) => {
                self.observer.greeted(&hello);
                self.meet(&hello, session, now_ms)?;
            }
            // Two levers may take turns in one survey: each record names its own.
            Event::LeverChanged(hello) if self.survey.is_some() => {
                self.observer.lever_changed(&hello);
                self.meet(&hello, session, now_ms)?;
            }
            Event::LeverChanged(Hello { device, .. }) => {
                return Err(SurveyError::LeverChanged { device });
            }
            Event::VersionUnknown(hello) => {
                return Err(SurveyError::Version {
                    min: hello.protocol_min,
                    max: hello.protocol_max,
                    ours: PROTOCOL_VERSION,
                });
            }
            Event::LogDisagrees { number } => return Err(SurveyError::LogDisagrees { number }),
            Event::Record(record) => self.take_record(&record, session, now_ms)?,
            Event::RecordsMissing { from, to } => {
                let last = to.saturating_sub(1);
                self.summary.fetched.missing.push((from, last));
                self.observer.missing(from, last);
            }
            Event::Health(health) => self.heard.health = Some(health),
            Event::PlanState(plan) | Event::PlanLoaded(plan) => self.heard.plan = Some(plan),
            Event::Status(counters) => self.heard.counters = Some(counters),
            Event::NotUnderstood(request) => self.heard.not_understood.push(request),
            Event::GivenUp(request) => {
                return Err(SurveyError::GivenUp { request, result: self.load_refused });
            }
            Event::Silent => self.observer.silent(),
            Event::Finished => {}
            pins => self.take_pin_event(pins)?,
        }
        Ok(())
    }

    /// What happens around a pin.
    fn take_pin_event(&mut self, event: Event) -> Result<(), SurveyError> {
        match event {
            Event::TakingZero => self.observer.taking_zero(false),
            Event::ZeroNotStill => self.observer.taking_zero(true),
            Event::PinChosen(pin) => {
                self.not_fit_since = None;
                self.observer.pin_chosen(pin);
            }
            Event::PinRefused(pin, result @ CommandResult::NoSuchPin) => {
                return Err(SurveyError::PinRefused { pin: pin_name(pin), result });
            }
            Event::PinRefused(pin, result) => {
                self.check_fit(result)?;
                self.observer.pin_refused(pin, result);
            }
            Event::Refused(request, result) => {
                if request == Request::Load {
                    self.load_refused = Some(result);
                    self.got_somewhere();
                } else {
                    self.check_fit(result)?;
                }
                self.observer.refused(request, result);
            }
            Event::Live(live) => {
                self.summary.dropped_block_count = live.dropped_block_count;
                self.observer.live(&live);
            }
            Event::Samples(samples) => {
                self.summary.sample_count += samples.samples.len() as u64;
                self.summary.sample_byte_count += samples.wire_byte_count as u64;
            }
            _ => {}
        }
        Ok(())
    }

    /// A lever that goes on saying that it must not measure ends the survey.
    fn check_fit(&mut self, result: CommandResult) -> Result<(), SurveyError> {
        if result != CommandResult::NotFit {
            self.not_fit_since = None;
            return Ok(());
        }
        let since = *self.not_fit_since.get_or_insert_with(Instant::now);
        if since.elapsed() > NOT_FIT_MAX { Err(SurveyError::NotFit) } else { Ok(()) }
    }

    /// Notes a lever and tells the session what is stored of its log.
    fn meet(
        &mut self,
        hello: &Hello,
        session: &mut Session,
        now_ms: u64,
    ) -> Result<(), SurveyError> {
        self.heard.hello = Some(*hello);
        self.store.note_lever(&Contact {
            hello,
            seen: &self.calendar.now_text(),
            calendar_ms: self.calendar.now_ms(),
        })?;
        let held: Vec<HeldRecord> = self
            .store
            .held_records(hello.device, hello.epoch, 0)?
            .into_iter()
            .map(|held| HeldRecord {
                number: held.number,
                checksum: held.checksum,
                lost_chain: held.lost_chain,
            })
            .collect();
        session.held(now_ms, &held);
        Ok(())
    }

    fn take_record(
        &mut self,
        record: &ArrivedRecord,
        session: &mut Session,
        now_ms: u64,
    ) -> Result<(), SurveyError> {
        let survey = self.survey_of(record)?;
        let committed = self.store.keep_record(
            survey,
            &NewRecord {
                device: record.device,
                epoch: record.epoch,
                number: record.number,
                checksum: record.checksum,
                bytes: &record.bytes,
                content: record.content.as_ref(),
                received: &self.calendar.now_text(),
            },
        )?;
        session.kept(now_ms, record.number);
        self.got_somewhere();
        match &record.content {
            Some(Content::Reading(reading))
                if self.survey.is_some_and(|(uid, _)| uid == reading.survey) =>
            {
                self.summary.reading_count += 1;
                self.observer.reading_kept(reading, session.position(), self.pin_count);
            }
            _ => {
                if committed != Committed::AlreadyHave {
                    self.count(record, survey, committed);
                }
                self.observer.record_kept(record, committed);
            }
        }
        Ok(())
    }

    /// The stored survey a record's reading belongs to.
    fn survey_of(&self, record: &ArrivedRecord) -> Result<Option<SurveyId>, SurveyError> {
        let Some(Content::Reading(reading)) = &record.content else { return Ok(None) };
        match self.survey {
            Some((uid, survey)) if uid == reading.survey => Ok(Some(survey)),
            _ if reading.survey == 0 || reading.pin.is_unassigned() => Ok(None),
            _ => Ok(self.store.find_survey(reading.survey)?.map(|survey| survey.id)),
        }
    }

    fn count(&mut self, record: &ArrivedRecord, survey: Option<SurveyId>, committed: Committed) {
        let fetched = &mut self.summary.fetched;
        match (&record.content, survey) {
            (Some(Content::Reading(_)), Some(survey)) => {
                match fetched.filed.iter_mut().find(|(filed, _)| *filed == survey) {
                    Some((_, count)) => *count += 1,
                    None => fetched.filed.push((survey, 1)),
                }
            }
            (Some(Content::Reading(reading)), None) if reading.survey == 0 => {
                fetched.unassigned_count += 1;
            }
            (Some(Content::Reading(_)), None) => fetched.foreign_count += 1,
            (Some(Content::Trace(_)), _) => fetched.trace_count += 1,
            (Some(Content::Skip(_)), _) => fetched.skip_count += 1,
            (Some(Content::Lost { .. }), _) if committed == Committed::TrueKept => {
                fetched.lost_but_held_count += 1;
            }
            (Some(Content::Lost { .. }), _) => fetched.lost.push(record.number),
            (None, _) => fetched.unknown_count += 1,
        }
    }
}
