//! The files of the page, inside the program.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

/// Name, type, content.
const ASSETS: &[(&str, &str, &str)] = &[
    ("index.html", "text/html; charset=utf-8", include_str!("page/index.html")),
    ("look.css", "text/css; charset=utf-8", include_str!("page/look.css")),
    ("main.js", JS, include_str!("page/main.js")),
    ("link.js", JS, include_str!("page/link.js")),
    ("sound.js", JS, include_str!("page/sound.js")),
    ("tank.js", JS, include_str!("page/tank.js")),
    ("spectrum.js", JS, include_str!("page/spectrum.js")),
    ("routes.js", JS, include_str!("page/routes.js")),
    ("fields.js", JS, include_str!("page/fields.js")),
    ("gauges.js", JS, include_str!("page/gauges.js")),
    ("colour.js", JS, include_str!("page/colour.js")),
];
const JS: &str = "text/javascript; charset=utf-8";

/// A file of the page by its name.
pub(super) fn asset(name: &str) -> Response {
    match ASSETS.iter().find(|asset| asset.0 == name) {
        Some((_, kind, content)) => ([(header::CONTENT_TYPE, *kind)], *content).into_response(),
        None => (StatusCode::NOT_FOUND, "there is no such page").into_response(),
    }
}

#[cfg(test)]
mod tests {
    use super::ASSETS;

    #[test]
    fn the_page_asks_nobody_else_for_anything_and_is_light() {
        let mut bytes = 0;
        for (name, _, content) in ASSETS {
            bytes += content.len();
            for bad in ["http://", "https://", "//cdn", "style=\"", "onclick=", "<script>", "eval("]
            {
                let allowed = content.matches(bad).count()
                    == content.matches(&format!("{bad}www.w3.org")).count();
                assert!(allowed, "{name} has {bad}");
            }
        }
        assert!(bytes < 150_000, "{bytes} bytes");
    }

    #[test]
    fn whatever_the_page_names_is_there() {
        for (name, _, content) in ASSETS {
            for part in content.split("\"/page/").skip(1).chain(content.split("\"./").skip(1)) {
                let wanted = part.split('"').next().unwrap_or_default();
                assert!(ASSETS.iter().any(|it| it.0 == wanted), "{name} names {wanted}");
            }
        }
    }
}
