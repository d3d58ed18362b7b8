"""The page: one self-contained HTML file about one session or one calibration."""
