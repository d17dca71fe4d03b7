//! What the shop configured: stocks for requests to name, and the thresholds of preflight.

use std::collections::BTreeMap;

use quoin_prepress::order::{Stock, Thresholds};
use serde_json::Value;

use super::mistake::{Mistake, MistakeCode, Mistakes, Pointer};
use super::node::Node;
use super::stock;

/// What the shop configured: its stocks, complete, checked, in the order of the settings, and its thresholds.
#[derive(Clone, Debug, Default)]
pub(crate) struct Configured {
    stocks: Vec<Stock>,
    /// Each as it was written, so that a request's own values can be laid over it.
    documents: BTreeMap<String, Value>,
    thresholds: Thresholds,
}

impl Configured {
    /// Reads stocks as a request describes them. Pointers begin with `/stocks/` and the stock's index.
    ///
    /// # Errors
    /// Every mistake in them: a stock that no sheet can be made of, or a name that comes twice, is one.
    pub(crate) fn read(list: &[Value]) -> Result<Configured, Vec<Mistake>> {
        let mut mistakes = Mistakes::default();
        let mut configured = Configured::default();
        let nobody = Configured::default();
        for (index, value) in list.iter().enumerate() {
            let entry = Node::new(Pointer::root().key("stocks").index(index), value);
            let Some(stock) = stock::read_checked(&entry, &nobody, &mut mistakes) else { continue };
            if configured.documents.insert(stock.stock.clone(), value.clone()).is_some() {
                let pointer = entry.get("stock").unwrap_or_else(|| entry.clone()).pointer();
                let message = format!("there is another stock \"{}\"", stock.stock);
                mistakes.add(MistakeCode::DuplicateId, &pointer, message);
            }
            configured.stocks.push(stock);
        }
        let mistakes = mistakes.into_list();
        if mistakes.is_empty() { Ok(configured) } else { Err(mistakes) }
    }

    /// The same with the shop's own thresholds.
    #[must_use]
    pub(crate) fn with_thresholds(self, thresholds: Thresholds) -> Configured {
        Configured { thresholds, ..self }
    }

    /// The shop's thresholds.
    pub(super) fn thresholds(&self) -> Thresholds {
        self.thresholds
    }

    /// All stocks.
    pub(crate) fn stocks(&self) -> &[Stock] {
        &self.stocks
    }

    /// One by its name.
    pub(super) fn named(&self, name: &str) -> Option<&Stock> {
        self.stocks.iter().find(|stock| stock.stock == name)
    }

    /// One as it was written.
    pub(super) fn document(&self, name: &str) -> Option<&Value> {
        self.documents.get(name)
    }

    /// Their names, for a message.
    pub(super) fn names(&self) -> String {
        self.stocks.iter().map(|stock| stock.stock.as_str()).collect::<Vec<_>>().join(", ")
    }
}
