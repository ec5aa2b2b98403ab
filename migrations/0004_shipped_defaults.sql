-- Defaults as data: each with its source, each to be changed by the owner. Nothing here names a brand.

INSERT INTO dealer (name) VALUES ('Our dealership');

INSERT INTO unit_kinds (code, name, jacket_ml, output_w, source) VALUES
 ('small', 'Small outdoor heater', 757082, 35000, 'common practice, no source: jacket about 200 US gal'),
 ('medium', 'Medium outdoor heater', 1135624, 48000, 'common practice, no source: jacket about 300 US gal'),
 ('large', 'Large outdoor heater', 1514165, 58600, 'common practice, no source: jacket about 400 US gal, 200 000 Btu/h'),
 ('farm', 'Farm-size outdoor heater', 2649788, 117000, 'common practice, no source: jacket about 700 US gal');

INSERT INTO programmes (code, name, basis, min_mg_l, target_mg_l, max_mg_l, alarm_low_mg_l, top_up_below_mg_l, ph_min, ph_max,
 ph_min_aluminium, ph_max_aluminium, hardness_stop_mg_l, hardness_advise_mg_l, cl_so4_stop_mg_l, recheck_from_days, recheck_to_days, source) VALUES
 ('nitrite-borate', 'Nitrite-borate', 'NO2', 600, 1000, 1500, 300, 1000, 850, 950, 820, 900, 250, 100, 800, 7, 28,
  'UFC 3-240-13FN (2005) p. 148: 600 to 1000 mg/L as NO2, pH 8.5 to 9.5, no nitrite above 800 mg/L chloride + sulfate, soften above 250 mg/L hardness. Maximum, low alarm and the re-check days: common practice, no source. pH with aluminium: VDI 2035 (2021), quoted second-hand.'),
 ('nitrite-molybdate', 'Nitrite-molybdate, by its molybdenum', 'Mo', 50, 65, 100, 30, 65, 850, 950, 820, 900, 250, 100, 800, 7, 28,
  'UFC 3-240-13FN (2005) p. 149: 50 to 75 mg/L as Mo, pH 8.5 to 9.5. Maximum, low alarm and the re-check days: common practice, no source. pH with aluminium: VDI 2035 (2021), quoted second-hand.');

INSERT INTO products (id, name, programme_code, active_basis, active_ppm_mass, density_g_l, pack_ml, step_ml, hazards, source) VALUES
 ('01900000-0000-7000-8000-000000000101', 'Nitrite-borate liquid, 20 %', 'nitrite-borate', 'NaNO2', 200000, 1150, 3785, 50,
  'Oxidiser; toxic if swallowed (blue lips, dizziness, collapse: get medical help at once); dangerous to water life. Gloves and eye protection, no eating. Keep from acids, ammonium salts, combustibles and amine products: never mix with an acid cleaner. Read the safety data sheet.',
  'Strength and density of a generic 20 % solution (9.6 lb/US gal): an assumption to be replaced by the label''s figures. Hazards: ICSC 1120.'),
 ('01900000-0000-7000-8000-000000000102', 'Nitrite-molybdate liquid, 6 % molybdate', 'nitrite-molybdate', 'Na2MoO4.2H2O', 60000, 1140, 3785, 50,
  'Holds nitrite: oxidiser; toxic if swallowed; dangerous to water life. Gloves and eye protection, no eating. Keep from acids, ammonium salts, combustibles and amine products. Read the safety data sheet.',
  'Strength and density of a generic solution: an assumption to be replaced by the label''s figures. Hazards: ICSC 1120 for the nitrite.');

INSERT INTO test_kits (code, name, basis, per_drop_centi, max_drops, dilution, source) VALUES
 ('nitrite-drops-5', 'Nitrite drop test, 5 mL sample', 'NO2', 2300, 90, 1,
  'Ceric sulfate titration, 0.05 mL drops of 0.1 N on 5 mL: 0.05 x 0.1 x 23002.5 / 5 = 23.0 mg/L as NO2 a drop (two electrons a nitrite). Check against the kit''s own sheet.'),
 ('nitrite-drops-2', 'Nitrite drop test, small 2.3 mL sample', 'NO2', 5000, 40, 1,
  'Same titration on a 2.3 mL sample: 50.0 mg/L as NO2 a drop. Check against the kit''s own sheet.'),
 ('nitrite-drops-salt', 'Nitrite drop test, 5 mL sample, reads as sodium nitrite', 'NaNO2', 3450, 90, 1,
  'The 5 mL test read as the salt: 23.0 x 1.49972 = 34.5 mg/L as NaNO2 a drop.'),
 ('molybdate-comparator', 'Molybdate colour comparator', 'MoO4', NULL, NULL, 1,
  'Read directly as MoO4; 100 mg/L as MoO4 is 60 mg/L as Mo.');

INSERT INTO seasons (name, opens_month, opens_day, closes_month, closes_day, source) VALUES
 ('spring', 4, 10, 5, 24, 'about six weeks after the heating season; common practice, no source'),
 ('fall', 9, 1, 10, 26, 'about eight weeks before the heating season; common practice, no source');

INSERT INTO job_kinds (code, name, minutes, set_up_minutes, cadence, skill, joins, tests_water, done_by_test, source, position) VALUES
 ('first-fill', 'First fill', 150, 20, 'once at fill', '', false, true, false, 'minutes: common practice, no source', 10),
 ('fall-start-up', 'Fall start-up', 55, 15, 'every fall', '', true, true, false, 'minutes: common practice, no source', 20),
 ('spring-shut-down', 'Spring shut-down', 50, 15, 'every spring', '', true, true, false, 'minutes: common practice, no source', 30),
 ('water-test', 'Water test', 30, 15, 'every season', '', true, true, true, 'each spring and fall; common practice, no source', 40),
 ('yearly-clean', 'Yearly clean of the air passages', 60, 15, 'every spring', '', true, false, false, 'minutes: common practice, no source', 50),
 ('re-check', 'Re-check after a dose', 25, 15, 'after a dose', '', true, true, true, 'not before the dose has mixed: 24 h of circulation (OENORM H 5195-1, 2006, quoted second-hand)', 60),
 ('repair', 'Repair', 90, 15, 'on request', 'repair', true, false, false, 'minutes: common practice, no source', 70);

UPDATE job_kinds SET lapses = true WHERE code IN ('fall-start-up', 'spring-shut-down');

INSERT INTO checklist_items (code, job_code, position, says, expect, caution, answer, asked_unit, only_fuel_moisture, basis) VALUES
 ('first-fill-source', 'first-fill', 10, 'Source water tested: pH, hardness, chloride, sulfate', 'Hardness at or below the programme''s advice, else soften before any inhibitor goes in', '', 'done', '', false, 'UFC 3-240-13FN (2005) p. 148 to 150'),
 ('first-fill-backflow', 'first-fill', 20, 'Hose connected through a reduced-pressure backflow assembly or an air gap', 'Nothing can run back into the house line', 'Treated water must never reach a drinking-water line. A plain vented backflow preventer is not allowed once an additive is put in downstream. Local code governs; ask a licensed plumber.', 'done', '', false, '2018 IRC P2902.3.3'),
 ('first-fill-meter', 'first-fill', 30, 'Amount filled, by water meter', 'The reading is the water volume; write it down', '', 'figure', 'US gal', false, 'common practice, no source'),
 ('first-fill-charge', 'first-fill', 40, 'First charge of inhibitor put in and circulating', 'At least 24 h of circulation before the first re-check', 'Gloves and eye protection; never near an acid cleaner. Read the safety data sheet.', 'done', '', false, 'ICSC 1120; 24 h: OENORM H 5195-1 (2006), quoted second-hand'),
 ('first-fill-hose', 'first-fill', 50, 'Hose disconnected after filling', '', '', 'done', '', false, 'common practice, no source'),
 ('start-level', 'fall-start-up', 10, 'Water level, cold', 'Between the marks', 'Open no cap, vent or drain while the water is hot: scalding. Never add cold water to a hot vessel that is low; let it cool.', 'done', '', false, 'common practice, no source'),
 ('start-pump', 'fall-start-up', 20, 'Pump runs; supply warms first, then return', 'No hum without flow, no drip at the flanges', 'Switch off and lock out before opening a cover (29 CFR 1910.147).', 'done', '', false, 'common practice, no source'),
 ('start-controls', 'fall-start-up', 30, 'Controls: fan starts below the set point and stops above it; high limit trips', 'Reading agrees with a thermometer on the supply pipe', 'Switch off and lock out before opening a cover.', 'done', '', false, 'common practice, no source'),
 ('start-bypass', 'fall-start-up', 40, 'Bypass opens and closes by hand', 'Full travel, no scraping', 'Fan off, wait, open the door a hand''s width and stand aside, then open: unburnt gas can flash back.', 'done', '', false, 'common practice, no source'),
 ('start-seal', 'fall-start-up', 50, 'Door seal grips a strip of paper all round', 'The strip drags everywhere', '', 'done', '', false, 'common practice, no source'),
 ('start-ash', 'fall-start-up', 60, 'Ash out; air holes open', '', 'Embers live for days in ash: closed metal can, outdoors, away from walls. Never burn trash, painted or treated wood.', 'done', '', false, 'US EPA guidance on fuel; can: common practice, no source'),
 ('start-skin', 'fall-start-up', 70, 'Outer skin cold to the touch all round, with the fire lit', 'A warm patch means wet or missing insulation, or a leak behind it', '', 'done', '', false, 'common practice, no source'),
 ('start-fuel', 'fall-start-up', 80, 'Moisture of the split wood, on a fresh face', '20 % wet basis or less; a pin meter that reads dry basis shows 25 %', '', 'figure', '% wet basis', true, 'common practice, no source; 20 % wet = 25 % dry by definition'),
 ('down-oil', 'spring-shut-down', 10, 'Fan motor: light machine oil in both oil ports, 10 drops each', 'Fan spins freely by hand', 'Switch off and lock out first (29 CFR 1910.147).', 'done', '', false, 'common practice, no source'),
 ('down-plungers', 'spring-shut-down', 20, 'Air-valve plungers freed with spray lubricant', 'Each drops by its own weight', 'Switch off and lock out first. No spray near a hot surface or embers.', 'done', '', false, 'common practice, no source'),
 ('down-tension', 'spring-shut-down', 30, 'Door seal, hinge and latch tension: one pin at a time, upper and lower alike, at most 1½ turns at one adjustment', 'The door closes with a firm push and grips paper all round', 'The door is heavy: never take out both pins at once.', 'done', '', false, 'common practice, no source'),
 ('down-scrape', 'spring-shut-down', 40, 'Creosote scraped from the door edge and the seal', 'Bare steel on the edge, soft rope in the seal', 'Cold firebox only. Gloves, eye protection, dust mask.', 'done', '', false, 'common practice, no source'),
 ('down-ash', 'spring-shut-down', 50, 'Ash and coals out; firebox left dry', 'No wet ash on the floor over the summer', 'Closed metal can, outdoors, away from walls.', 'done', '', false, 'common practice, no source'),
 ('down-level', 'spring-shut-down', 60, 'Left full and treated; water level noted', 'Between the marks', 'Drained water holds treatment: not to a well, ditch, storm drain or septic tank without approval. Local rules govern.', 'done', '', false, 'common practice, no source'),
 ('clean-primary', 'yearly-clean', 10, 'Primary air passages cleaned', 'A light held at one end shows at the other', 'Cold firebox; switch off and lock out the fan. Never climb into a firebox: it is a confined space (29 CFR 1910.146).', 'done', '', false, 'common practice, no source'),
 ('clean-secondary', 'yearly-clean', 20, 'Secondary air passages cleaned', 'Every hole open', 'Eye protection, dust mask.', 'done', '', false, 'common practice, no source'),
 ('clean-sides', 'yearly-clean', 30, 'Side channels cleaned', 'Scraped to the steel, debris out', 'Eye protection, dust mask.', 'done', '', false, 'common practice, no source'),
 ('test-sample', 'water-test', 10, 'Sample run off until clear, cooled to about 77 °F (25 °C) in a closed bottle', 'Tested at once; nitrite changes in the bottle', 'Heater water is hot enough to scald. Gloves and eye protection; no eating with treated water on the hands.', 'done', '', false, 'storage limit 48 h chilled: NEMI method notes; pH is defined at 25 °C here'),
 ('re-check-mixed', 're-check', 10, 'The dose has circulated for at least 24 h', '', '', 'done', '', false, 'OENORM H 5195-1 (2006), quoted second-hand'),
 ('repair-lock', 'repair', 10, 'Switched off, locked out, cooled down before opening', '', 'Electrical and pressure work by licensed people where local code asks for it. Carbon monoxide: never lean in; keep an alarm in any building that houses a unit.', 'done', '', false, '29 CFR 1910.147'),
 ('repair-done', 'repair', 20, 'What was repaired is in the note', '', '', 'done', '', false, 'common practice, no source');
