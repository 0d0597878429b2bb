// The panel of a survey: the key heard last, what is found, how many of how many were heard.
#include "overlay/column.h"
#include "overlay/panels.h"

#include <algorithm>
#include <string>

namespace rankwright::overlay {

namespace {

using SurveyStage = SurveyView::Stage;

std::string off_words(Cents off) {
    const Figure figure = figure_of(off, std::nullopt);
    return figure.number + " " + figure.sign;
}

// Note on the left, how it stands on the right.
void draw_latest(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const SurveyView& survey = *snapshot.survey;
    if (!snapshot.deviation) {
        canvas.text({place.left, place.top + 58}, {kLadder, kGrey}, "listening");
        canvas.paragraph({place.left, place.top + 84, place.right, place.bottom}, {kLadder, kPale},
                         kLarge, "play the rank through, about two seconds a key");
        return;
    }
    const float middle = place.left + place.width() * 0.44F;
    const NoteParts note = note_parts(snapshot.note);
    canvas.text_within({place.left, place.top + 50}, middle - place.left - 24,
                       {kLadder, survey.sounding ? kPale : kGrey}, kLarge,
                       note.place.empty() ? "key " + std::to_string(snapshot.key) : note.place);
    canvas.text_within({place.left, place.top + 180}, middle - place.left - 24,
                       {kFigure, survey.sounding ? kPale : kGrey, true}, kLadder, note.letter);
    if (survey.last_time) {
        canvas.text({place.left, place.top + 222}, {kBody, kGrey}, "last time");
        canvas.text_within({place.left + 130, place.top + 224}, middle - place.left - 150,
                           {kLarge, kPale}, kSmall, off_words(*survey.last_time));
    }

    const Figure figure = figure_of(*snapshot.deviation, snapshot.uncertainty);
    const ImU32 hue = snapshot.uncertainty ? colour_of(figure.sense) : kGrey;
    float left = middle;
    if (figure.sense != Sense::undecided) {
        draw_sense_mark(canvas, {left, place.top, left + 48, place.top + 62}, figure.sense);
        left += 64;
    }
    canvas.text_within({left, place.top + 54}, place.right - left, {60, hue, true}, kLarge,
                       figure.sign);
    const float wide = canvas.text_within({middle - 6, place.top + 188}, place.right - middle - 150,
                                          {kFigure, snapshot.uncertainty ? kPale : kGrey, true},
                                          kHuge, figure.number);
    canvas.text_within({middle + wide + 10, place.top + 188}, 150, {kLadder, kPale}, kLarge,
                       "cents");
    const std::string sure = snapshot.uncertainty
                                 ? "± " + decimal(std::max(0.1, snapshot.uncertainty->value()), 1)
                                 : "only near yet";
    canvas.text_within({middle, place.top + 230}, place.right - middle, {kLarge, kGrey}, kSmall,
                       sure);
}

void draw_done(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const Rect plate{place.left - 8, place.top, place.right, place.top + 220};
    canvas.fill(plate, kPale, 12);
    draw_tick(canvas, {plate.left + 34, plate.top + 34, plate.left + 154, plate.top + 134}, kGround,
              26);
    canvas.text_within({plate.left + 186, plate.top + 116}, plate.width() - 206,
                       {100, kGround, true}, kLadder, "rank heard");
    const int proposed = snapshot.survey->proposed;
    const std::string words = proposed == 0 ? std::string("nothing for the work list")
                                            : std::to_string(proposed) + " for the work list";
    canvas.text_within({plate.left + 34, plate.top + 194}, plate.width() - 60, {kLadder, kGround},
                       kLarge, words);
}

void draw_findings(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    const SurveyView& survey = *snapshot.survey;
    constexpr float kStep = 62.0F;
    float baseline = place.top + 50;
    if (!survey.not_kept.empty()) {
        draw_caution_mark(canvas, {place.left + 16, place.top + 26}, 30);
        canvas.paragraph({place.left + 48, place.top, place.right, place.top + kStep},
                         {kLarge, kPale}, kSmall, survey.not_kept);
        baseline += kStep;
    }
    const std::size_t shown = std::min<std::size_t>(
        survey.findings.size(),
        static_cast<std::size_t>(std::max(0.0F, (place.bottom - baseline + 50) / kStep)));
    for (std::size_t i = 0; i < shown; ++i, baseline += kStep) {
        const bool last = i + 1 == shown && shown < survey.findings.size();
        const std::string more = "and " + std::to_string(survey.findings.size() - shown) + " more";
        const float room = last ? canvas.width({kBody}, more) + 24 : 0.0F;
        const float wide = canvas.text_within({place.left, baseline}, place.width() - room,
                                              {kLadder, kPale, i == 0}, kLarge, survey.findings[i]);
        if (last) canvas.text({place.left + wide + 24, baseline}, {kBody, kGrey}, more);
    }
}

void draw_count(Canvas& canvas, const Rect& place, const Snapshot& snapshot) {
    canvas.fill(place, kPlate, 10);
    const SurveyView& survey = *snapshot.survey;
    Column column{canvas, place.inset(18), place.top + 2};
    column.label("heard");
    column.line(std::to_string(survey.heard) + " of " + std::to_string(snapshot.pipe_count),
                kLadder, false);
    if (snapshot.keeping != Keeping::no_book) {
        column.label("in the book");
        column.line(std::to_string(snapshot.kept_count), kLadder, false);
    }
    if (survey.stage == SurveyStage::working_out) {
        column.label("the play is over");
        column.line("hearing it again …", kLarge, false);
    }
    if (survey.missing.empty()) return;
    column.label(survey.stage == SurveyStage::playing ? "not heard yet" : "not heard");
    canvas.paragraph(
        {column.place.left, column.baseline + 10, column.place.right, place.bottom - 14},
        {kLadder, kPale}, kBody, survey.missing);
}

}  // namespace

void draw_survey(Canvas& canvas, const Layout& layout, const Snapshot& snapshot) {
    constexpr float kLatestHeight = 250.0F;
    const Rect main{layout.pipe.left, layout.pipe.top, layout.figures.right, layout.pipe.bottom};
    const Rect latest{main.left, main.top, main.right, main.top + kLatestHeight};
    if (snapshot.survey->stage == SurveyStage::done && !snapshot.survey->sounding)
        draw_done(canvas, latest, snapshot);
    else
        draw_latest(canvas, latest, snapshot);
    Rect findings{main.left, latest.bottom + 14, main.right, main.bottom};
    const Rect notices{main.left, layout.notices.top, main.right, layout.notices.bottom};
    if (draw_notice(canvas, notices, snapshot)) findings.bottom = notices.top - 6;
    canvas.line({findings.left, findings.top - 4}, {findings.right, findings.top - 4}, kEdge, 2);
    draw_findings(canvas, findings, snapshot);
    draw_count(canvas, layout.call, snapshot);
}

}  // namespace rankwright::overlay
