//! Pages carry no script and no style of their own: the content security policy would refuse them.

use crate::{files, none};

/// What is wrong with one template, or with one file of the pages that writes markup.
fn faults(file: &str, text: &str) -> Vec<String> {
    let small = text.to_lowercase();
    let mut faults = Vec::new();
    for (n, line) in (1..).zip(small.lines()) {
        let mut refuse = |what: &str| faults.push(format!("{file}:{n}: {what}: {}", line.trim()));
        if attributes(line).any(|a| a == "style") {
            refuse("inline style");
        }
        if attributes(line).any(|a| a.len() > 4 && a.starts_with("on")) {
            refuse("inline handler");
        }
        if line.contains("<style") {
            refuse("inline style sheet");
        }
        if line.match_indices("<script").any(|(at, _)| !line[at..].split('>').next().is_some_and(|tag| tag.contains(" src="))) {
            refuse("inline script");
        }
        if line.contains("javascript:") {
            refuse("script in an address");
        }
        if ["src=\"http", "href=\"//", "src=\"//", "@import"].iter().any(|a| line.contains(a)) {
            refuse("fetched from elsewhere");
        }
    }
    faults
}

/// Names that stand as ` name=` right before a quote or a placeholder.
fn attributes(line: &str) -> impl Iterator<Item = &str> {
    line.match_indices('=').filter_map(|(at, _)| {
        let after = line[at + 1..].trim_start_matches('\\');
        let before = line[..at].trim_end();
        let name = before.rsplit([' ', '"', '\'', '\t']).next()?;
        let quoted = after.starts_with(['"', '\'', '{']);
        (quoted && name.len() < before.len() + 1 && name.chars().all(|c| c.is_ascii_lowercase() || c == '-')).then_some(name)
    })
}

#[test]
fn no_template_holds_script_or_style() {
    let mut all: Vec<String> = files("templates", ".html").iter().flat_map(|(file, text)| faults(file, text)).collect();
    all.extend(files("src/web", ".rs").iter().flat_map(|(file, text)| faults(file, text)));
    none(&all);
}

#[test]
fn planted_script_and_style_are_seen() {
    for planted in [
        r#"<p style="color:red">"#,
        "<p\n style='color:red'>",
        r#"<svg><rect x="1" STYLE="fill:red"/>"#,
        r#"format!("<p style=\"color:red\">")"#,
        r#"<button onclick="go()">"#,
        "<form class=\"a\" onSubmit='go()'>",
        "<style>p { color: red }</style>",
        "<script>go()</script>",
        "<script type=\"module\">go()</script>",
        r#"<a href="javascript:go()">"#,
        r#"<script src="https://elsewhere.example/a.js"></script>"#,
        r#"<img src="//elsewhere.example/a.png">"#,
    ] {
        assert_eq!(faults("planted.html", planted).len(), 1, "{planted}: {:?}", faults("planted.html", planted));
    }
    for fine in [
        r#"<script src="{{ f.asset("office.js") }}" defer></script>"#,
        r#"<p class="style" data-on="yes">On time = good; style = plain</p>"#,
        r#"<input name="done_on" value="{{ on }}">"#,
    ] {
        assert_eq!(faults("fine.html", fine), Vec::<String>::new(), "{fine}");
    }
}
