//! Sections, rows and pitches of a layout file.

use std::ops::RangeInclusive;

use toml::Spanned;

use super::error::LayoutError;
use super::file::{FLANGE_MM, File, Reader, RowsFile, SectionFile};
use super::{
    Arrangement, BASS_ROW_COUNT, LayoutParameters, RowsOf, SECTION_COUNT_MAX, Section, sections,
};
use crate::instrument::note::note_name;
use crate::instrument::places::PLACE_NUMBER_MAX;
use crate::instrument::stringing::Stringing;

/// Most rows one turn of dealing may name.
const DEAL_COUNT_MAX: usize = 32;
/// Pin to pin along a row, mm.
const PITCH_MM: RangeInclusive<f64> = 8.0..=40.0;
/// Row to row, mm.
const ROW_SPACING_MM: RangeInclusive<f64> = 8.0..=60.0;
/// From y = 0 to row 0, mm.
const ROW0_MM: RangeInclusive<f64> = 0.0..=300.0;
/// Shift from row to row, mm.
const SLANT_MM: RangeInclusive<f64> = -30.0..=30.0;
/// Free plank at a strut, mm.
const GAP_MM: RangeInclusive<f64> = 0.0..=300.0;

impl Reader<'_> {
    pub(super) fn sections(
        &self,
        file: &File,
        stringing: &Stringing,
    ) -> Result<Vec<Section>, LayoutError> {
        let common = self.common(file)?;
        let rows_of = self.rows_of(file.rows_of.as_ref(), RowsOf::in_order([0, 1, 2, 3]))?;
        if file.section.is_empty() {
            let mut sections = sections(stringing, &LayoutParameters::default());
            for section in &mut sections {
                common.apply_to(section);
                if let Arrangement::Unisons(rows) = &mut section.arrangement {
                    *rows = rows_of;
                }
            }
            return Ok(sections);
        }
        if let Some(extra) = file.section.get(usize::from(SECTION_COUNT_MAX)) {
            let reason = format!("at most {SECTION_COUNT_MAX} sections are possible");
            return Err(self.fault(extra, "section", reason));
        }
        let mut first_note = stringing.first_note();
        let mut sections = Vec::new();
        for (index, section) in file.section.iter().enumerate() {
            let is_last = index + 1 == file.section.len();
            let last_note = self.last_note(section, is_last, first_note, stringing.last_note())?;
            let notes = first_note..=last_note;
            let arrangement = self.arrangement(section, index, notes, stringing, rows_of)?;
            sections.push(self.section(section, last_note, arrangement, &common)?);
            first_note = last_note.saturating_add(1);
        }
        Ok(sections)
    }

    /// What the file says for all sections.
    fn common(&self, file: &File) -> Result<Common, LayoutError> {
        Ok(Common {
            pitch_m: self.metres(&file.pitch_mm, "pitch_mm", PITCH_MM)?,
            row_spacing_m: self.metres(&file.row_spacing_mm, "row_spacing_mm", ROW_SPACING_MM)?,
            slant_m: self.metres(&file.slant_mm, "slant_mm", SLANT_MM)?,
            gap_m: self.metres(&file.gap_mm, "gap_mm", GAP_MM)?,
        })
    }

    fn last_note(
        &self,
        section: &Spanned<SectionFile>,
        is_last: bool,
        first_note: u8,
        compass_last: u8,
    ) -> Result<u8, LayoutError> {
        let Some(last) = &section.get_ref().last else {
            if is_last && first_note <= compass_last {
                return Ok(compass_last);
            }
            let reason = if is_last {
                "no note is left for this section; remove it"
            } else {
                "every section but the highest says its last note"
            };
            return Err(self.fault(section, "last", reason.to_owned()));
        };
        let note = last.get_ref().0;
        if note < first_note || note > compass_last || (is_last && note != compass_last) {
            let name = |note: u8| note_name(note).unwrap_or_default();
            let (from, to) = (name(first_note), name(compass_last));
            let reason = if is_last {
                format!("the highest section ends with the compass, {to}")
            } else {
                format!("{} is not within {from} to {to}, what is left", name(note))
            };
            return Err(self.fault(last, "last", reason));
        }
        Ok(note)
    }

    fn section(
        &self,
        section: &Spanned<SectionFile>,
        last_note: u8,
        arrangement: Arrangement,
        common: &Common,
    ) -> Result<Section, LayoutError> {
        let file = section.get_ref();
        let default = LayoutParameters::default();
        let mut made = Section {
            last_note,
            arrangement,
            pitch_m: default.pitch_m,
            row_spacing_m: default.row_spacing_m,
            row0_m: self.metres(&file.row0_mm, "row0_mm", ROW0_MM)?.unwrap_or(0.0),
            slant_m: None,
            gap_m: default.strut_gap_m,
            flange_m: self.metres(&file.flange_mm, "flange_mm", FLANGE_MM)?,
        };
        common.apply_to(&mut made);
        let own = Common {
            pitch_m: self.metres(&file.pitch_mm, "pitch_mm", PITCH_MM)?,
            row_spacing_m: self.metres(&file.row_spacing_mm, "row_spacing_mm", ROW_SPACING_MM)?,
            slant_m: self.metres(&file.slant_mm, "slant_mm", SLANT_MM)?,
            gap_m: self.metres(&file.gap_mm, "gap_mm", GAP_MM)?,
        };
        own.apply_to(&mut made);
        Ok(made)
    }

    fn arrangement(
        &self,
        section: &Spanned<SectionFile>,
        index: usize,
        mut notes: RangeInclusive<u8>,
        stringing: &Stringing,
        rows_of: RowsOf,
    ) -> Result<Arrangement, LayoutError> {
        let file = section.get_ref();
        let dealt = match file.arrangement.as_ref().map(|word| (word, word.get_ref().as_str())) {
            Some((_, "dealt")) => true,
            Some((_, "unisons")) => false,
            Some((word, _)) => {
                let reason = "use dealt (pins in turn over the rows) or unisons (each string in \
                              its row)";
                return Err(self.fault(word, "arrangement", reason.to_owned()));
            }
            None if file.rows.is_some() || file.deal.is_some() => true,
            None if file.rows_of.is_some() => false,
            None => index == 0 && notes.all(|note| stringing.string_count(note) < 3),
        };
        if !dealt {
            if let Some(rows) = &file.rows {
                let reason = "rows counts the rows of dealt pins; where each string of a unison \
                              sits is for rows_of";
                return Err(self.fault(rows, "rows", reason.to_owned()));
            }
            if let Some(deal) = &file.deal {
                let reason = "pins of unisons are not dealt; use rows_of";
                return Err(self.fault(deal, "deal", reason.to_owned()));
            }
            return Ok(Arrangement::Unisons(self.rows_of(file.rows_of.as_ref(), rows_of)?));
        }
        if file.rows_of.is_some() {
            let reason = "dealt pins take rows in turn; leave rows_of out, or use unisons";
            return Err(self.fault(section, "rows_of", reason.to_owned()));
        }
        self.deal(file).map(Arrangement::Dealt)
    }

    fn deal(&self, file: &SectionFile) -> Result<Vec<u8>, LayoutError> {
        let count = match &file.rows {
            Some(rows) => self.whole(rows, "rows", 1, PLACE_NUMBER_MAX + 1)?,
            None => BASS_ROW_COUNT,
        };
        let Some(deal) = &file.deal else { return Ok((0..count).collect()) };
        let row_max = if file.rows.is_some() { count - 1 } else { PLACE_NUMBER_MAX };
        let rows = self.row_list(deal, "deal", row_max)?;
        if rows.is_empty() || rows.len() > DEAL_COUNT_MAX {
            let reason = format!("1 to {DEAL_COUNT_MAX} rows make a turn");
            return Err(self.fault(deal, "deal", reason));
        }
        Ok(rows)
    }

    fn rows_of(&self, file: Option<&RowsFile>, common: RowsOf) -> Result<RowsOf, LayoutError> {
        let Some(file) = file else { return Ok(common) };
        let RowsOf(mut rows_of) = common;
        let given = [
            (&file.single, "rows_of.single"),
            (&file.bichord, "rows_of.bichord"),
            (&file.trichord, "rows_of.trichord"),
            (&file.four, "rows_of.four"),
        ];
        for (count, (list, field)) in (1_usize..).zip(given) {
            let Some(list) = list else { continue };
            let rows = self.row_list(list, field, PLACE_NUMBER_MAX)?;
            let mut apart = rows.clone();
            apart.sort_unstable();
            apart.dedup();
            if rows.len() != count || apart.len() != count {
                let strings = ["C", "L, R", "L, C, R", "L, C, R, D"][count - 1];
                let reason = format!("write one row for each of {strings}, all different");
                return Err(self.fault(list, field, reason));
            }
            rows_of[count - 1][..count].copy_from_slice(&rows);
        }
        Ok(RowsOf(rows_of))
    }

    fn row_list(
        &self,
        list: &Spanned<Vec<i64>>,
        field: &'static str,
        row_max: u8,
    ) -> Result<Vec<u8>, LayoutError> {
        let row = |given: &i64| {
            u8::try_from(*given).ok().filter(|row| *row <= row_max).ok_or_else(|| {
                let reason = format!("row {given} is not within 0 to {row_max}");
                self.fault(list, field, reason)
            })
        };
        // Longer than any list may be is long enough to be told.
        list.get_ref().iter().take(DEAL_COUNT_MAX + 1).map(row).collect()
    }
}

/// Measures given for all sections, or for one.
struct Common {
    pitch_m: Option<f64>,
    row_spacing_m: Option<f64>,
    slant_m: Option<f64>,
    gap_m: Option<f64>,
}

impl Common {
    fn apply_to(&self, section: &mut Section) {
        section.pitch_m = self.pitch_m.unwrap_or(section.pitch_m);
        section.row_spacing_m = self.row_spacing_m.unwrap_or(section.row_spacing_m);
        section.slant_m = self.slant_m.or(section.slant_m);
        section.gap_m = self.gap_m.unwrap_or(section.gap_m);
    }
}
