-- By which digest a day has facts of cost is asked of all days after each start: what bears it
-- stands among the day's evidence, and ten years of that are thousands of pages.

-- name: schema_010
CREATE INDEX evidence_priced ON evidence (start_minute, minutes) WHERE kind = 32 AND subject = '';
PRAGMA user_version = 10;
