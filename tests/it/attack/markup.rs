//! Pages and pictures as parsers see them, and what may stand in them.

use scraper::{Html, Node};

/// An element with its attributes.
pub(super) struct Part {
    pub(super) name: String,
    pub(super) attributes: Vec<(String, String)>,
    /// The text right below it.
    pub(super) text: String,
}

/// Every element of a page, as browsers parse it.
pub(super) fn html(page: &str) -> Vec<Part> {
    let document = Html::parse_document(page);
    let elements = document.tree.nodes().filter_map(|node| {
        let element = node.value().as_element()?;
        let texts = node.children().filter_map(|child| match child.value() {
            Node::Text(text) => Some(text.to_string()),
            _ => None,
        });
        let attributes = element.attrs.iter();
        let attributes =
            attributes.map(|(name, value)| (name.local.to_string(), value.to_string()));
        Some(Part {
            name: element.name().to_owned(),
            attributes: attributes.collect(),
            text: texts.collect(),
        })
    });
    elements.collect()
}

/// Every element of a picture. What declares a document type or an entity is refused.
pub(super) fn svg(picture: &str) -> Vec<Part> {
    let document = roxmltree::Document::parse(picture).unwrap();
    let elements = document.descendants().filter(roxmltree::Node::is_element);
    let elements = elements.map(|node| Part {
        name: node.tag_name().name().to_owned(),
        attributes: node
            .attributes()
            .map(|attribute| (attribute.name().to_owned(), attribute.value().to_owned()))
            .collect(),
        text: node.text().unwrap_or_default().to_owned(),
    });
    elements.collect()
}

/// What would run or load something, or look otherwise, without a file of ours.
pub(super) fn inline(part: &Part) -> Vec<String> {
    let mut found = Vec::new();
    let attribute = |wanted: &str| {
        let mut all = part.attributes.iter();
        all.find(|(name, _)| name == wanted)
            .map(|(_, value)| value.as_str())
    };
    let is_data = attribute("type") == Some("application/ld+json");
    if part.name == "script" && attribute("src").is_none() && !is_data {
        found.push(format!("a script: {}", part.text));
    }
    let never = [
        "style",
        "iframe",
        "object",
        "embed",
        "base",
        "foreignObject",
        "foreignobject",
        "animate",
        "set",
        "use",
        "applet",
        "frame",
        "template",
    ];
    if never.contains(&part.name.as_str()) {
        found.push(format!("an element {}", part.name));
    }
    for (name, value) in &part.attributes {
        if name.starts_with("on") || name == "style" || name == "srcdoc" {
            found.push(format!("{} {name}={value}", part.name));
        }
        let leads = [
            "href",
            "src",
            "action",
            "formaction",
            "data",
            "poster",
            "srcset",
            "ping",
        ];
        if leads.contains(&name.as_str()) && !leads_well(value) {
            found.push(format!("{} {name}={value}", part.name));
        }
    }
    if part.name == "meta" && attribute("http-equiv").is_some() {
        found.push("a meta element in the place of a header".to_owned());
    }
    found
}

/// Addresses here, and such as a host may name.
fn leads_well(address: &str) -> bool {
    let here = address.starts_with(['/', '#', '?']) && !address.starts_with("//");
    here || address.starts_with("https://") || address.starts_with("mailto:")
}

#[test]
fn what_is_inline_is_found() {
    for page in [
        "<p onclick=x()>",
        "<p style='color:red'>",
        "<style>p{}</style>",
        "<script>x()</script>",
        "<a href='javascript:x()'>",
        "<a href=' javascript:x()'>",
        "<a href='data:text/html,x'>",
        "<a href='//elsewhere.example'>",
        "<img src=x>",
        "<svg><use href='#a'/></svg>",
        "<svg><foreignObject/></svg>",
        "<iframe srcdoc=x>",
        "<base href='/x'>",
        "<meta http-equiv=refresh content='0;/'>",
        "<form action='http://elsewhere.example'>",
    ] {
        let parts = html(page);
        let found: Vec<String> = parts.iter().flat_map(inline).collect();
        assert!(!found.is_empty(), "{page}");
    }
    for page in [
        "<a href='/x'>",
        "<a href='#x'>",
        "<a href='https://elsewhere.example'>",
        "<script src='/x.js'></script>",
        "<script type='application/ld+json'>{}</script>",
        "<svg><g fill='red'><text x='1'>a</text></g></svg>",
    ] {
        let parts = html(page);
        let found: Vec<String> = parts.iter().flat_map(inline).collect();
        assert!(found.is_empty(), "{page}: {found:?}");
    }
}
