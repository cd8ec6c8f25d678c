//! A review written down: JSON, CSV, text, charts, the page.
