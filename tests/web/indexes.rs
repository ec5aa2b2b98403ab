//! Every query of the program has an index that serves it: with sequential reading forbidden, no plan reads a growing table whole.

use super::support::TestApp;
use serde_json::Value;
use std::fs;

/// Tables that stay at some dozens of rows however long the dealer is in business.
const SMALL: [&str; 19] = [
    "dealer",
    "depots",
    "staff",
    "technicians",
    "working_hours",
    "days_off",
    "seasons",
    "season_overrides",
    "job_kinds",
    "checklist_items",
    "programmes",
    "fill_profiles",
    "usual_losses",
    "products",
    "test_kits",
    "unit_kinds",
    "planning_prices",
    "season_plans",
    "van_loads",
];
/// Queries that read a whole table because that is their work, by a piece of their text.
const WHOLE: [(&str, &str); 7] = [
    ("SELECT id FROM units ORDER BY id", "units"),
    ("SELECT unit_id, job_code, opens_on, closes_on, cause, reason FROM due_items", "due_items"),
    ("FROM submissions s WHERE s.body_sha256 <>", "submissions"),
    ("FROM lots l LEFT JOIN shelf_moves", "lots"),
    ("FROM lots l LEFT JOIN shelf_moves", "shelf_moves"),
    ("count(DISTINCT unit_id) FILTER", "due_items"),
    ("SELECT programme_code FROM units GROUP BY programme_code", "units"),
];

fn queries() -> Vec<String> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/.sqlx");
    let files = fs::read_dir(folder).unwrap().map(|f| fs::read_to_string(f.unwrap().path()).unwrap());
    let texts = files.map(|f| serde_json::from_str::<Value>(&f).unwrap()["query"].as_str().unwrap().to_owned());
    texts.filter(|q| !q.trim_start().starts_with("CREATE")).collect()
}

fn whole_reads(plan: &Value, found: &mut Vec<String>) {
    if plan["Node Type"] == "Seq Scan" {
        found.push(plan["Relation Name"].as_str().unwrap_or_default().to_owned());
    }
    for child in plan["Plans"].as_array().into_iter().flatten() {
        whole_reads(child, found);
    }
}

#[tokio::test]
async fn no_query_reads_a_growing_table_whole() {
    let t = TestApp::start().await;
    let mut c = t.pool().acquire().await.unwrap();
    sqlx::raw_sql("SET enable_seqscan = off; SET plan_cache_mode = force_generic_plan").execute(&mut *c).await.unwrap();
    let queries = queries();
    assert!(queries.len() > 100, "{}", queries.len());
    let mut bad = Vec::new();
    for (n, query) in queries.iter().enumerate() {
        let params = (1..=40).take_while(|i| query.contains(&format!("${i}"))).count();
        let prepared = sqlx::raw_sql(sqlx::AssertSqlSafe(format!("PREPARE q{n} AS {query}"))).execute(&mut *c).await;
        prepared.unwrap_or_else(|e| panic!("{query}: {e}"));
        let nulls = if params == 0 { String::new() } else { format!("({})", vec!["NULL"; params].join(", ")) };
        let plan: Value =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("EXPLAIN (FORMAT JSON) EXECUTE q{n}{nulls}"))).fetch_one(&mut *c).await.unwrap();
        let mut found = Vec::new();
        whole_reads(&plan[0]["Plan"], &mut found);
        found.retain(|t| !SMALL.contains(&t.as_str()) && !WHOLE.iter().any(|(text, table)| query.contains(text) && t == table));
        if !found.is_empty() {
            bad.push(format!("reads {found:?} whole:\n{query}"));
        }
    }
    assert!(bad.is_empty(), "{}", bad.join("\n\n"));
}
