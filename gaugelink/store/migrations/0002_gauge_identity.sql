-- What the system tells a gauge's device by (USB vendor, product and serial number), so that it is
-- found again when it is plugged in elsewhere on another day; empty when by nothing but its port.

ALTER TABLE gauges ADD COLUMN identity TEXT NOT NULL DEFAULT '';
