//! From a file of orders to the board: any text is read or refused at places within it, and whatever is read is judged
//! without end or panic.
#![allow(clippy::panic, reason = "a finding is a panic")]

use rules::{Board, BoardSettings, Orders, Picture};
use terms::{Dimension, Mmsi, Moment, Position, Quantity, Reading, Subject, Utc, Value, Whose};

/// A picture in which every quantity has a value that one number decides.
struct Chart {
    at: Moment,
    turn: u64,
}

impl Picture for Chart {
    fn reading(&self, _: Subject, quantity: Quantity) -> Reading {
        let n = self.turn.wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(quantity as u32) % 4001;
        let value = match quantity.dimension() {
            _ if n.is_multiple_of(11) => None,
            Dimension::Word => quantity
                .words()
                .get(n as usize % quantity.words().len().max(1))
                .map(|w| Value::Word((*w).to_owned())),
            Dimension::Place => Some(Value::There),
            Dimension::Direction => Some(Value::Number((n % 360) as f64)),
            _ if n == 4000 => Some(Value::Number(f64::NAN)),
            _ => Some(Value::Number(n as f64 / 10.0 - 100.0)),
        };
        Reading { value, heard: (!n.is_multiple_of(13)).then_some(self.at) }
    }

    fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        let reading = Reading { value: Some(Value::Number(self.turn as f64 % 100.0)), heard: Some(self.at) };
        (!name.len().is_multiple_of(3)).then_some((Dimension::Temperature, reading))
    }

    fn subjects(&self, whose: Whose) -> Vec<Subject> {
        let target = |n: u32| Mmsi::new(230_000_000 + n).map(Subject::Target);
        match whose {
            Whose::Target => (0..3).filter_map(target).collect(),
            Whose::Feed => vec![Subject::Feed(terms::FeedId(1))],
            Whose::Own => vec![Subject::OwnVessel],
        }
    }

    fn name_of(&self, _: Subject) -> String {
        "the ship".to_owned()
    }

    fn utc(&self) -> Option<Utc> {
        (!self.turn.is_multiple_of(5)).then(|| Utc(1_793_491_200_000 + self.at.0))
    }

    fn position(&self) -> Option<Position> {
        Position::new(50.0 + (self.turn % 100) as f64 / 1000.0, -5.0).ok()
    }
}

/// A file of orders.
pub fn orders(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let orders = match Orders::read("orders.toml", text) {
        Ok(orders) => orders,
        Err(problems) => {
            for p in problems.list() {
                assert!(
                    p.span.start <= p.span.end && p.span.end <= text.len(),
                    "{:?} of {}",
                    p.span,
                    text.len()
                );
            }
            let _ = problems.to_string();
            return;
        }
    };
    let mut board = Board::new(BoardSettings::default());
    let mut chart = Chart { at: Moment::ZERO, turn: data.len() as u64 };
    board.set_orders(Moment::ZERO, &orders, &chart);
    drop(board.take_events(&chart));
    for step in 0..50u64 {
        chart.turn = chart.turn.wrapping_add(step * 7 + 1);
        chart.at = Moment(step as i64 * 20_000);
        for _ in 0..1000 {
            match board.next_wake() {
                Some(wake) if wake <= chart.at => {
                    board.advance(wake, &chart);
                    drop(board.take_events(&chart));
                }
                _ => break,
            }
        }
        board.advance(chart.at, &chart);
        assert!(board.next_wake().is_none_or(|w| w > chart.at), "it wants to be woken now again");
        for &q in Quantity::ALL.iter().skip(step as usize % 3).step_by(3) {
            for subject in chart.subjects(q.whose()) {
                board.changed(chart.at, subject, q, &chart);
            }
        }
        drop(board.take_events(&chart));
    }
}
