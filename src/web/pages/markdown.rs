//! Organisers' Markdown as HTML that cannot harm: no raw HTML, no images, links to the web only,
//! headings below the page's own.

use pulldown_cmark::{Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};

/// Safe HTML of a Markdown text; everything in it that is HTML comes out as text.
#[must_use]
pub fn html(text: &str) -> String {
    let mut links: Vec<bool> = Vec::new();
    let events = Parser::new_ext(text, Options::ENABLE_TABLES).filter_map(|event| match event {
        Event::Html(raw) | Event::InlineHtml(raw) => Some(Event::Text(raw)),
        Event::Start(Tag::Heading { level, .. }) => {
            Some(Event::Start(Tag::Heading { level: below(level), id: None, classes: Vec::new(), attrs: Vec::new() }))
        }
        Event::End(TagEnd::Heading(level)) => Some(Event::End(TagEnd::Heading(below(level)))),
        Event::Start(Tag::Image { .. } | Tag::HtmlBlock) | Event::End(TagEnd::Image | TagEnd::HtmlBlock) => None,
        Event::Start(Tag::Link { ref dest_url, .. }) => {
            let safe = is_safe(dest_url);
            links.push(safe);
            safe.then_some(event)
        }
        Event::End(TagEnd::Link) => links.pop().unwrap_or(false).then_some(event),
        other => Some(other),
    });
    let mut out = String::with_capacity(text.len() * 2);
    html::push_html(&mut out, events);
    out
}

/// The text alone, without its marks: a line for each paragraph, heading, item and row.
#[must_use]
pub fn lines(text: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for event in Parser::new_ext(text, Options::ENABLE_TABLES) {
        let line = lines.last_mut();
        match (event, line) {
            (Event::Text(part) | Event::Code(part) | Event::Html(part) | Event::InlineHtml(part), Some(line)) => {
                line.push_str(&part);
            }
            (Event::SoftBreak | Event::HardBreak | Event::End(TagEnd::TableCell), Some(line)) => line.push(' '),
            (
                Event::End(
                    TagEnd::Paragraph
                    | TagEnd::Heading(_)
                    | TagEnd::Item
                    | TagEnd::TableRow
                    | TagEnd::TableHead
                    | TagEnd::CodeBlock
                    | TagEnd::HtmlBlock,
                ),
                _,
            ) => lines.push(String::new()),
            _ => {}
        }
    }
    lines.into_iter().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect()
}

/// Headings of the text stand below the page's second level.
fn below(level: HeadingLevel) -> HeadingLevel {
    match level {
        HeadingLevel::H1 => HeadingLevel::H3,
        HeadingLevel::H2 => HeadingLevel::H4,
        HeadingLevel::H3 => HeadingLevel::H5,
        _ => HeadingLevel::H6,
    }
}

/// Whether an address leads to the web and nowhere else.
fn is_safe(address: &str) -> bool {
    let scheme = address.split(':').next().unwrap_or_default().to_ascii_lowercase();
    address.contains("://") && matches!(scheme.as_str(), "https" | "http")
}

#[cfg(test)]
mod tests {
    use super::html;

    #[test]
    fn what_is_html_comes_out_as_text() {
        let out = html("a <b onclick=x>b</b>\n\n<script>alert(1)</script>\n\n<!-- x --> c");
        assert!(!out.contains("<script") && !out.contains("<b ") && out.contains("&lt;script&gt;"), "{out}");
    }

    #[test]
    fn only_links_to_the_web_stay_links() {
        assert_eq!(html("[a](https://example.org/x)"), "<p><a href=\"https://example.org/x\">a</a></p>\n");
        for bad in ["javascript:alert(1)", "JaVaScRiPt://x/%0aalert(1)", "data:text/html,x", "/account", "vbscript://x"]
        {
            assert_eq!(html(&format!("[a]({bad})")), "<p>a</p>\n", "{bad}");
        }
    }

    #[test]
    fn images_are_their_text_and_headings_stand_below_the_page() {
        assert_eq!(html("![a jump](https://example.org/x.png)"), "<p>a jump</p>\n");
        assert_eq!(html("# Start"), "<h3>Start</h3>\n");
    }
}
