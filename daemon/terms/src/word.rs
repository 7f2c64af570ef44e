//! Closed lists of words: types whose values are each written as one word, declared in one place.

/// A type written as one of a few words, in files, records and texts alike.
pub trait ClosedList: Copy + 'static {
    /// Each word and what it means, in the order they are listed for people.
    const WORDS: &'static [(&'static str, Self)];
}

/// Declares an enum with the word of each variant, and derives from it `ALL`, `word`, `named`, [`ClosedList`],
/// `Display`, and `Serialize` and `Deserialize` as that word.
#[macro_export]
macro_rules! closed_list {
    ($(#[$of:meta])* pub enum $name:ident { $($(#[doc = $doc:literal])+ $variant:ident = $word:literal,)+ }) => {
        $(#[$of])*
        pub enum $name { $($(#[doc = $doc])+ $variant,)+ }

        impl $name {
            /// All of them, in the order of their declaration.
            pub const ALL: [Self; [$($word),+].len()] = [$(Self::$variant),+];

            /// The word for it.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// What it is, in a sentence.
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$variant => concat!($($doc),+).trim(),)+ }
            }

            /// What a word means; `None` if it is not in the list.
            pub fn named(word: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.word() == word)
            }
        }

        impl $crate::ClosedList for $name {
            const WORDS: &'static [(&'static str, Self)] = &[$(($word, Self::$variant)),+];
        }

        impl ::std::fmt::Display for $name {
            fn fmt(&self, f: &mut ::std::fmt::Formatter<'_>) -> ::std::fmt::Result {
                f.write_str(self.word())
            }
        }

        impl ::serde::Serialize for $name {
            fn serialize<S: ::serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.serialize_str(self.word())
            }
        }

        impl<'de> ::serde::Deserialize<'de> for $name {
            fn deserialize<D: ::serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                let word = <::std::borrow::Cow<'de, str> as ::serde::Deserialize>::deserialize(from)?;
                Self::named(&word).ok_or_else(|| ::serde::de::Error::unknown_variant(&word, &[$($word),+]))
            }
        }
    };
}
