//! A command line as a builder can paste it into a shell. Knows no command, and runs none.

/// A word as a shell takes it for one: in quotation marks where it has to be. Within double ones a few letters still mean
/// something to a Unix shell; a word with one of them stands in single ones.
pub fn word(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "/\\_-.,:=+@%".contains(c);
    let of_the_shell = |c: char| "\"$`!".contains(c) || c == '\\' && cfg!(unix);
    if text.contains(of_the_shell) {
        format!("'{}'", text.replace('\'', "'\\''"))
    } else if text.is_empty() || !text.chars().all(plain) {
        format!("\"{text}\"")
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::word;

    #[test]
    fn a_word_stands_in_quotation_marks_only_where_it_has_to() {
        assert_eq!(word("E1"), "E1");
        assert_eq!(word("/home/me/dunlin"), "/home/me/dunlin");
        assert_eq!(word("left elevator"), "\"left elevator\"");
        assert_eq!(word(""), "\"\"");
        assert_eq!(word("höhe"), "höhe");
    }

    /// What a shell makes of a word is the shell's to say.
    #[cfg(unix)]
    #[test]
    fn a_shell_hands_on_every_word_as_it_was() {
        for text in [
            "left elevator",
            "",
            "the \"old\" one",
            "5 $HOME",
            "a`b`",
            "it's",
            "it's $5; \\ (odd) & <so> on!",
            "*",
            "~me",
            "ein\tTab",
            "舵 1",
        ] {
            let line = format!("printf %s {}", word(text));
            let ran = std::process::Command::new("sh")
                .args(["-c", &line])
                .output()
                .unwrap();
            assert_eq!(String::from_utf8_lossy(&ran.stdout), text, "{line}");
        }
    }
}
