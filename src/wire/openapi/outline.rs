//! The document read for people: what its page tells, with nothing else as its source.

use serde_json::{Map, Value};

/// Everything that the page tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outline {
    /// What every reader should know, paragraph by paragraph.
    pub about: Vec<String>,
    /// Operations by topic.
    pub groups: Vec<Group>,
}

/// Operations of one topic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// The topic.
    pub name: String,
    /// What it is about.
    pub words: String,
    /// Its operations.
    pub operations: Vec<Described>,
}

/// One operation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Described {
    /// Its identifier.
    pub id: String,
    /// The method in capitals.
    pub method: String,
    /// The path with names in braces.
    pub path: String,
    /// What it does, in a few words.
    pub summary: String,
    /// More of that.
    pub words: String,
    /// What it takes in address and headers.
    pub parameters: Vec<Parameter>,
    /// The file of the schema of the document that it takes.
    pub body: Option<String>,
    /// Whether a receipt is looked at, and if so whether it has to be sent.
    pub receipt: Option<bool>,
    /// What it answers, by status.
    pub answers: Vec<Answer>,
    /// Its answer's headers are those of a public document.
    pub is_public: bool,
    /// A command line that does it.
    pub command: String,
}

/// Something that an operation takes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Parameter {
    /// Its name.
    pub name: String,
    /// Where it stands: in the address, after its question mark, or as a header.
    pub place: String,
    /// Whether it has to be there.
    pub required: bool,
    /// What it means.
    pub words: String,
    /// What it may be.
    pub bounds: String,
}

/// One thing that an operation answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// The status.
    pub status: String,
    /// What it means.
    pub words: String,
    /// The file of the schema of the document that comes with it.
    pub schema: Option<String>,
}

/// Reads the document.
#[must_use]
pub fn outline(document: &Value) -> Outline {
    let about = text(&document["info"], "description");
    let tags = document["tags"].as_array();
    let groups = tags.into_iter().flatten().map(|tag| {
        let name = text(tag, "name");
        Group {
            operations: operations(document, &name),
            words: text(tag, "description"),
            name,
        }
    });
    Outline {
        about: about.split("\n\n").map(str::to_owned).collect(),
        groups: groups.collect(),
    }
}

fn text(part: &Value, field: &str) -> String {
    part[field].as_str().unwrap_or_default().to_owned()
}

/// A part of the document, a reference followed.
fn found<'a>(document: &'a Value, part: &'a Value) -> &'a Value {
    let place = part["$ref"]
        .as_str()
        .and_then(|place| place.strip_prefix('#'));
    let place = place.and_then(|pointer| document.pointer(pointer));
    place.unwrap_or(part)
}

fn operations(document: &Value, tag: &str) -> Vec<Described> {
    let paths = document["paths"].as_object().into_iter().flatten();
    let all = paths.flat_map(|(path, methods)| {
        let methods = methods.as_object().into_iter().flatten();
        methods.map(move |(method, operation)| (path, method, operation))
    });
    let of_tag = all
        .filter(|(_, _, operation)| operation.pointer("/tags/0").is_some_and(|name| name == tag));
    of_tag
        .map(|(path, method, operation)| described(document, path, method, operation))
        .collect()
}

fn described(document: &Value, path: &str, method: &str, operation: &Value) -> Described {
    let given = operation["parameters"].as_array().into_iter().flatten();
    let given: Vec<&Value> = given.map(|part| found(document, part)).collect();
    let empty = Map::new();
    let answers = operation["responses"].as_object().unwrap_or(&empty);
    let answers = answers.iter().map(|(status, part)| {
        let part = found(document, part);
        Answer {
            status: status.clone(),
            words: text(part, "description"),
            schema: schema_file(document, part),
        }
    });
    let security = operation["security"].as_array();
    let described = Described {
        id: text(operation, "operationId"),
        method: method.to_uppercase(),
        path: path.to_owned(),
        summary: text(operation, "summary"),
        words: text(operation, "description"),
        parameters: given.iter().map(|part| parameter(part)).collect(),
        body: schema_file(document, &operation["requestBody"]),
        receipt: security.map(|ways| {
            !ways
                .iter()
                .any(|way| way.as_object().is_some_and(Map::is_empty))
        }),
        answers: answers.collect(),
        is_public: operation["responses"].get("304").is_some(),
        command: String::new(),
    };
    Described {
        command: command(&described),
        ..described
    }
}

fn parameter(part: &Value) -> Parameter {
    let place = match part["in"].as_str() {
        Some("path") => "in the address",
        Some("query") => "after the question mark",
        _ => "as a header",
    };
    Parameter {
        name: text(part, "name"),
        place: place.to_owned(),
        required: part["required"] == true,
        words: text(part, "description"),
        bounds: bounds(&part["schema"]),
    }
}

/// What a schema of a parameter allows, in words.
fn bounds(schema: &Value) -> String {
    if let Some(words) = schema["enum"].as_array() {
        let words: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
        return words.join(", ");
    }
    if let (Some(low), Some(high)) = (schema["minimum"].as_i64(), schema["maximum"].as_i64()) {
        return format!("a whole number from {low} to {high}");
    }
    if schema["format"] == "uuid" {
        return "a UUID".to_owned();
    }
    String::new()
}

/// The file of the schema of what is sent or answered as JSON.
fn schema_file(document: &Value, part: &Value) -> Option<String> {
    let content = part["content"].as_object()?;
    let (_, content) = content.iter().next()?;
    let schema = &content["schema"];
    let whole = schema.pointer("/allOf/0").unwrap_or(schema);
    let place = whole["$ref"].as_str()?;
    document.pointer(place.strip_prefix('#')?)?;
    let name = place.strip_prefix("#/components/schemas/")?;
    Some(format!("{name}.v1.schema.json"))
}

/// A command line for curl in which what differs stands as a variable of the shell.
fn command(operation: &Described) -> String {
    let mut address = operation.path.clone();
    for parameter in &operation.parameters {
        let braces = format!("{{{}}}", parameter.name);
        address = address.replace(&braces, &format!("${{{}}}", parameter.name.to_uppercase()));
    }
    let needed =
        |parameter: &&Parameter| parameter.required && parameter.place.starts_with("after");
    for parameter in operation.parameters.iter().filter(needed) {
        let first = parameter.bounds.split(',').next().unwrap_or_default();
        address = format!("{address}?{}={first}", parameter.name);
    }
    let mut parts = vec!["curl -s".to_owned()];
    if operation.method != "GET" {
        parts.push(format!("-X {}", operation.method));
    }
    if operation.receipt == Some(true) {
        parts.push("-H \"Authorization: Receipt $RECEIPT\"".to_owned());
    }
    if let Some(file) = &operation.body {
        let document = file.split('.').next().unwrap_or_default();
        parts.push(format!(
            "-H 'Content-Type: application/json' --data @{document}.json"
        ));
    }
    parts.push(format!("\"$POOL{address}\""));
    parts.join(" ")
}
