//! The rules of targets: formulas, totals, estimates and results.

use foldhash::HashMap;
use schema::Id;
use schema::records::{Target, TestResult};
use schema::words::CAR;

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;
use crate::values::{Key, Origin};

impl Builder<'_> {
    pub(super) fn targets(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, _, target) in loaded.targets() {
            let node = self.by_key[&Key::Record(index)];
            self.define_names(index, &target.given, &["given"], None);
            self.value_without_result(index, node, target);
            if let Some((result, value)) = self.latest_result(index) {
                self.report_same_date(index, result);
                self.change_origin(index, node, Origin::Result(result));
                let field = self.field_of_result(index, result);
                self.set_quantity(node, &value, &field);
            }
        }
    }

    /// Reports another result with the same date as the one that is used: their order is not known.
    fn report_same_date(&mut self, index: RecordId, used: RecordId) {
        let loaded = &*self.graph.loaded;
        let date = loaded.result(used).and_then(|result| result.date);
        let same_date = |other: &TestResult| other.quantity().is_some() && other.date == date;
        let mut results = self.graph.current_results(index).into_iter();
        if let Some((other, _)) = results.find(|(id, other)| *id != used && same_date(other)) {
            let message =
                format!("result {} has the same date and is used instead of this one", loaded.record(used).id);
            let help =
                "combine both in one result, correct a date, or name the one that is replaced under `supersedes`";
            self.report(ValueProblemKind::Twice, &Field::new(other, &["date"]), 0, message, help);
        }
    }

    /// The value by the target's own keys: `formula`, otherwise `total`, otherwise `estimate`.
    fn value_without_result(&mut self, index: RecordId, node: NodeId, target: &Target) {
        let field = |key: &str| Field::new(index, &[key]);
        let keys = [
            ("formula", target.formula.is_some()),
            ("total", target.total.is_some()),
            ("estimate", target.estimate.is_some()),
        ];
        let mut set = keys.iter().filter(|(_, is_set)| *is_set).map(|(key, _)| *key);
        if let (Some(first), Some(second)) = (set.next(), set.next()) {
            let message = format!("both `{first}` and `{second}` are set");
            let help = format!("remove one of them; `{first}` is used");
            self.report(ValueProblemKind::Twice, &field(second), 0, message, help);
        }
        if let Some(formula) = &target.formula {
            self.origins.insert(index, Origin::Formula);
            self.set_text(node, formula.text(), &field("formula"));
        } else if let Some(amount) = &target.total {
            self.origins.insert(index, Origin::Total);
            self.total(node, target, amount, &field("total"));
        } else if let Some(estimate) = &target.estimate {
            self.origins.insert(index, Origin::Estimate);
            self.set_quantity(node, estimate, &field("estimate"));
        }
    }

    fn total(&mut self, node: NodeId, target: &Target, amount: &Id, field: &Field) {
        let Some(number) = self.find_amount(amount.as_str()) else {
            let names = self.amounts.iter().map(AsRef::as_ref);
            let otherwise = "add it under `amounts` of the parts";
            let help = self.suggestions.did_you_mean(amount.as_str(), names, otherwise);
            self.report(ValueProblemKind::Reference, field, 0, format!("no part has the amount `{amount}`"), help);
            self.report_missing("");
            return;
        };
        let Some(subject) = target.of.as_ref().map(Id::as_str) else { return };
        let (source, factor) = self.total_of(subject, number);
        let Some(source) = source else { return };
        let found = self.network.nodes[source].dimension;
        if let Some(required) = self.required[node].filter(|required| *required != found) {
            self.report_mismatch(field, node, found, required);
            return;
        }
        self.network.nodes[node].inputs = vec![source];
        self.network.nodes[node].rule = Rule::Total(vec![factor]);
    }

    /// The node that an amount of the car, a system or a part is calculated from, and its factor.
    fn total_of(&mut self, subject: &str, number: u16) -> (Option<NodeId>, f64) {
        let node = |key: Key| self.by_key.get(&key).copied();
        let whole = |key: Key| node(key).map(|node| self.measured_total(node).unwrap_or(node));
        let car = node(Key::Group(None, number));
        if subject == CAR {
            return (whole(Key::Group(None, number)), 1.0);
        }
        let Some(record) = self.graph.loaded.find(subject) else { return (None, 1.0) };
        if self.graph.loaded.part(record).is_none() {
            return (whole(Key::Group(Some(record), number)), 1.0);
        }
        // The factor of a part (its count and its growth) is read from the total of the car.
        let piece = node(Key::Part(record, number));
        if let Some(measured) = piece.and_then(|piece| self.measured_total(piece)) {
            return (Some(measured), 1.0);
        }
        let factor = piece.zip(car).and_then(|(piece, car)| self.factors_in_car(number, car).get(&piece).copied());
        (piece, factor.unwrap_or(1.0))
    }

    /// The factor of each input in the total of an amount of the car.
    fn factors_in_car(&mut self, number: u16, car: NodeId) -> &HashMap<NodeId, f64> {
        let car = &self.network.nodes[car];
        self.factors_in_car.entry(number).or_insert_with(|| {
            let mut all = HashMap::default();
            if let Rule::Total(factors) = &car.rule {
                for (input, factor) in car.inputs.iter().zip(factors) {
                    all.entry(*input).or_insert(*factor);
                }
            }
            all
        })
    }
}
