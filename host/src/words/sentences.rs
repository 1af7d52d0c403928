//! The macro that makes a function of each sentence.

/// Functions that give a sentence in every language, and the table of their patterns.
///
/// The arguments stand in the patterns by name. A pattern that leaves one out is a warning of the
/// compiler, which the build refuses.
macro_rules! sentences {
    ($(
        $(#[$note:meta])*
        $name:ident($($told:ident),*): $en:literal | $de:literal;
    )*) => {
        $(
            $(#[$note])*
            pub(crate) fn $name($($told: impl $crate::words::Spoken),*) -> $crate::words::Said {
                $crate::words::Said {
                    en: {
                        $(let $told = $told.spoken($crate::words::Language::English);)*
                        format!($en)
                    },
                    de: {
                        $(let $told = $told.spoken($crate::words::Language::German);)*
                        format!($de)
                    },
                }
            }
        )*

        /// Name and patterns of every sentence here.
        #[cfg(test)]
        pub(crate) const PATTERNS: &[(&str, &str, &str)] =
            &[$((stringify!($name), $en, $de)),*];
    };
}
