//! The JSON answer of `audit`: version 1, stable.

use schema::Quantity;
use schema::records::Body;
use serde_json::{Map, Value, json};
use trace::audit::{AtRiskPeriod, EstimateOf, GoalScore, ScoreCause, Split, TargetAudit};
use trace::values::{LEVEL, Origin, Spread};

use super::super::check::off_json;
use super::super::json::source;
use super::super::values::{limit_json, limit_text, number};
use super::{AuditView, review};

/// The JSON answer.
pub(crate) fn json(view: &AuditView<'_>) -> Value {
    let (audit, loaded) = (view.audit, &view.study.loaded);
    let verification: Vec<Value> = audit
        .verified
        .iter()
        .map(|line| {
            json!({"method": line.method.word(), "planned": line.planned, "closed": line.passed,
                   "uncertain": line.uncertain, "failed": line.failed, "open": line.without_result()})
        })
        .collect();
    let at_risk_periods: Vec<Value> = audit.at_risk_periods.iter().map(|own| period(view, own)).collect();
    let waivers: Vec<Value> = audit
        .waivers
        .iter()
        .map(|(index, in_force)| {
            let Body::Waiver(waiver) = &loaded.record(*index).body else { return Value::Null };
            let text = |id: &Option<schema::Id>| id.as_ref().map(ToString::to_string);
            json!({"id": view.id(*index), "check": text(&waiver.check), "of": text(&waiver.of),
                   "until": waiver.until.map(|day| day.to_string()), "agreed_by": waiver.agreed_by,
                   "reason": waiver.reason, "in_force": in_force})
        })
        .collect();
    let unused: Vec<Value> =
        audit.unused_analyses.iter().map(|index| json!({"id": view.id(*index), "title": view.title(*index)})).collect();
    json!({
        "version": 1,
        "source": source(loaded),
        "season": loaded.settings().season,
        "made": review::made(view),
        "day": audit.day.to_string(),
        "stage": view.study.stage.word(),
        "history": {
            "on": view.season.is_some(),
            "commits": view.season.map(|season| season.commits),
            "shallow": view.season.is_some_and(|season| season.shallow),
            "complete_from": view.season.and_then(|season| Some(season.complete_from(view.study)?.to_string())),
            "note": view.note,
        },
        "goals": audit.goals.iter().map(|goal| self::goal(view, goal)).collect::<Vec<_>>(),
        "targets": audit.targets.iter().map(|target| self::target(view, target)).collect::<Vec<_>>(),
        "verification": verification,
        "predictions": predictions(view),
        "timeline": timeline(view),
        "at_risk_periods": at_risk_periods,
        "limit_moves": audit.limit_moves.iter().map(|own| review::limit_move(view, own)).collect::<Vec<_>>(),
        "safety_critical": audit.safety_critical,
        "unproven": audit.unproven.iter().map(|own| review::unproven(view, own)).collect::<Vec<_>>(),
        "decisions": view.decisions.iter().map(|own| review::decision(view, own)).collect::<Vec<_>>(),
        "unused_analyses": unused,
        "off": off_json(&view.off),
        "waivers": waivers,
        "next_season": view.next_season(),
    })
}

/// A period at risk.
pub(super) fn period(view: &AuditView<'_>, period: &AtRiskPeriod) -> Value {
    let (until, end) = period.end.map(|(day, end)| (day.to_string(), end.words())).unzip();
    json!({"target": view.id(period.index), "since": period.since.to_string(),
           "until": until, "end": end, "days": period.days(view.audit.day)})
}

/// A goal with its points and its events.
pub(super) fn goal(view: &AuditView<'_>, goal: &GoalScore) -> Value {
    let loaded = &view.study.loaded;
    let reason = loaded.goal(goal.index).and_then(|body| body.reason.clone());
    let (place_reached, place_result) = goal.place_reached.unzip();
    let needed = goal.needed.as_ref().ok().map(|needed| {
        json!({"points": number(Some(needed.points)), "low": number(Some(needed.low)),
               "high": number(Some(needed.high)), "level": LEVEL, "years": needed.years, "too_small": needed.too_small})
    });
    let low = |spread: Option<&Spread>| spread.map(|spread| spread.low);
    let high = |spread: Option<&Spread>| spread.map(|spread| spread.high);
    let events: Vec<Value> = goal
        .events
        .iter()
        .map(|event| {
            let result = event.scored.map(|(_, result)| result);
            json!({
                "id": view.id(event.index),
                "title": view.title(event.index),
                "plan": number(event.plan),
                "predicted": number(event.predicted),
                "uncertainty": number(event.predicted.map(|_| event.uncertainty)),
                "low": number(low(event.spread.as_ref())),
                "high": number(high(event.spread.as_ref())),
                "scored": number(event.scored.map(|(points, _)| points)),
                "result": result.map(|index| view.id(index)),
                "evidence": result.map(|index| loaded.record(index).all_evidence()),
                "split": event.split.as_ref().map(split),
                "vs_plan": number(event.vs_plan()),
                "causes": review::causes(event),
                "behind": review::behind(view, event),
            })
        })
        .collect();
    let (so_far, scored) = goal.so_far();
    // Without the events that have no value, the interval is not the one of the goal.
    let of_goal = goal.predicted.and(goal.spread.as_ref());
    json!({
        "id": view.id(goal.index),
        "title": view.title(goal.index),
        "reason": reason,
        "place": goal.place,
        "place_reached": place_reached,
        "place_result": place_result.map(|index| view.id(index)),
        "place_predicted": goal.place_predicted,
        "chance": number(goal.chance),
        "needed": needed,
        "plan": number(Some(goal.plan)),
        "predicted": number(goal.predicted),
        "uncertainty": number(goal.predicted.map(|_| goal.uncertainty)),
        "low": number(low(of_goal)),
        "high": number(high(of_goal)),
        "scored": number(goal.scored()),
        "scored_so_far": number(Some(so_far)),
        "events_scored": scored,
        "reached": goal.reached(),
        "split": goal.split().as_ref().map(split),
        "events": events,
    })
}

/// The difference between score and prediction, by cause.
fn split(split: &Split) -> Value {
    let points = |cause: ScoreCause| number(Some(split.points(cause)));
    let difference: f64 = split.causes().map(|(_, points)| points).sum();
    json!({
        "difference": number(Some(difference)),
        "own_values": points(ScoreCause::OwnValues),
        "others_best": points(ScoreCause::OthersBest),
        "finish": points(ScoreCause::Finish),
        "penalties": points(ScoreCause::Penalties),
        "judges": points(ScoreCause::Judges),
        "mean": points(ScoreCause::Mean),
        "not_explained": points(ScoreCause::Unexplained),
    })
}

fn target(view: &AuditView<'_>, target: &TargetAudit) -> Value {
    let (loaded, status) = (&view.study.loaded, &target.status);
    let record = loaded.record(status.index);
    let unit = view.study.values().unit(status.node);
    let in_unit = |si: f64| number(Some(unit.from_si(si)));
    let limit = limit_json(&status.limit, unit);
    let revisions: Vec<Value> = target
        .revisions
        .iter()
        .map(|index| {
            let Body::Revision(revision) = &loaded.record(*index).body else { return Value::Null };
            let text = |quantity: &Option<Quantity>| quantity.as_ref().map(ToString::to_string);
            json!({"id": view.id(*index), "day": revision.date.map(|day| day.to_string()), "from": text(&revision.from),
                   "to": text(&revision.to), "agreed_by": revision.agreed_by, "reason": revision.reason})
        })
        .collect();
    let limits: Vec<Value> = target
        .limits
        .iter()
        .map(|step| {
            let own = step.unit();
            let unit = own.as_ref().unwrap_or(unit);
            json!({"commit": step.commit, "day": step.day.to_string(), "limit": limit_json(&step.limit, unit),
                   "unit": unit.to_string(), "recorded": step.recorded, "after_result": step.is_after_result()})
        })
        .collect();
    let in_factor = |si: f64| number(Some(si / unit.factor()));
    let measured_uncertainty = target.measured().map(|_| in_factor(target.measured_uncertainty()));
    let (verdict, qualifier) = target.verdict.parts();
    let result = target.result.map(|index| {
        let result = loaded.result(index);
        let date = result.and_then(|result| result.date);
        let outcome = result.and_then(|result| result.outcome).map(|outcome| match outcome {
            schema::records::Outcome::Pass => "pass",
            schema::records::Outcome::Fail => "fail",
        });
        json!({"id": view.id(index), "day": date.map(|day| day.to_string()),
               "value": target.measured().map(in_unit), "uncertainty": measured_uncertainty, "outcome": outcome})
    });
    let estimate = target.estimate.map(|(value, uncertainty, origin)| {
        let by = match origin {
            Origin::Analysis(index) | Origin::Result(index) => Some(view.id(index)),
            _ => None,
        };
        json!({"value": in_unit(value), "uncertainty": number(Some(uncertainty / unit.factor())),
               "origin": origin.word(), "by": by})
    });
    json!({
        "id": record.id.as_str(),
        "title": record.name(),
        "of": record.about().map(ToString::to_string),
        "system": view.study.section(status.index),
        "lead": view.study.graph.lead(status.index),
        "safety_critical": record.safety_critical(),
        "unit": unit.to_string(),
        "limit": limit,
        "limit_text": limit_text(loaded, status.index),
        "limits": limits,
        "revisions": revisions,
        "estimate": estimate,
        "result": result,
        "margin": number(target.measured().and(status.margin)),
        "limit_changes": target.limits.len().saturating_sub(1),
        "unrecorded": target.unrecorded(),
        "after_result": target.after_result(),
        "first_limit_met": target.first_limit_met,
        "inside_estimate": target.is_inside_estimate(),
        "verdict": verdict,
        "outcome": target.verdict.outcome(),
        "qualifier": qualifier,
        "status": status.status.word(),
        "methods": view.methods(status.index),
        "evidence": view.evidence(target),
    })
}

fn predictions(view: &AuditView<'_>) -> Value {
    let pairs: Vec<Value> = view
        .audit
        .pairs
        .iter()
        .map(|pair| {
            let of = match &pair.source {
                EstimateOf::Target(index) => view.id(*index).to_owned(),
                EstimateOf::Part(index, amount) => format!("{}.{amount}", view.id(*index)),
            };
            let in_unit = |si: f64| number(Some(pair.unit.from_si(si)));
            let uncertainty = number(Some(pair.uncertainty / pair.unit.factor()));
            json!({"of": of, "quantity": pair.quantity, "basis": pair.basis, "estimate": in_unit(pair.estimate),
                   "uncertainty": uncertainty, "result": in_unit(pair.result), "unit": pair.unit.to_string(),
                   "error": number(Some(pair.error())), "inside": pair.is_inside()})
        })
        .collect();
    let groups: Vec<Value> = trace::audit::groups(&view.audit.pairs)
        .iter()
        .map(|group| {
            json!({"quantity": group.quantity, "basis": group.basis, "pairs": group.size,
                   "bias": number(Some(group.bias)), "spread": number(group.spread),
                   "inside": group.inside, "with_interval": group.with_interval,
                   "allowance_90": number(group.allowance), "allowance_used": number(view.used(group))})
        })
        .collect();
    let (inside, with_interval) = view.audit.inside;
    json!({"groups": groups, "inside": inside, "with_interval": with_interval, "pairs": pairs})
}

/// The car over the season, in the units in which its amounts are shown.
fn timeline(view: &AuditView<'_>) -> Value {
    let Some(season) = view.season else { return json!([]) };
    let unit =
        |name: &str| view.study.values().named(&format!("car.{name}")).map(|node| view.study.values().unit(node));
    let timeline = season.timeline.iter().map(|moment| {
        let mut names: Vec<&String> = moment.amounts.keys().collect();
        names.sort();
        let amounts: Map<String, Value> = names
            .into_iter()
            .map(|name| {
                let si = moment.amounts[name];
                let value = unit(name).map_or(si, |unit| unit.from_si(si));
                let unit = unit(name).map(ToString::to_string);
                (name.clone(), json!({"value": number(Some(value)), "unit": unit}))
            })
            .collect();
        let mut goals: Vec<&String> = moment.points.keys().collect();
        goals.sort();
        let points: Map<String, Value> =
            goals.into_iter().map(|id| (id.clone(), number(Some(moment.points[id])))).collect();
        json!({"day": moment.day.to_string(), "commit": moment.commit, "amounts": amounts, "points": points})
    });
    Value::Array(timeline.collect())
}
