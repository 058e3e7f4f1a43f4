// Each finding about a song, passing and failing, on packaged sounds whose numbers follow from arithmetic.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include <sendworthy/catalog.h>

#include "sheet/phrases.h"
#include "signals.h"
#include "song/as_printed.h"
#include "unit/song/arrangement.h"

using namespace sendworthy;
using song::as_printed;
using test::Arrangement;
using test::finding;
using test::words;

namespace {

Status status(const Sheet& sheet, const std::string& id) { return finding(sheet, id).status; }

const SongSheet::Section& section(const Sheet& sheet, const std::string& name) {
  const auto found = std::ranges::find(sheet.song->sections, name, &SongSheet::Section::name);
  REQUIRE(found != sheet.song->sections.end());
  return *found;
}

const SongSheet::Stem& stem(const Sheet& sheet, const std::string& name) {
  const auto found = std::ranges::find(sheet.song->stems, name, &SongSheet::Stem::name);
  REQUIRE(found != sheet.song->stems.end());
  return *found;
}

/// The song as it is, measured once.
const Sheet& good() {
  static const Sheet sheet = Arrangement().check();
  return sheet;
}

}  // namespace

TEST_SUITE("song/findings") {
  TEST_CASE("a song that keeps its plan passes in all that is measured, whatever the threads") {
    for (const auto& one : good().findings) {
      CAPTURE(one.rule);
      CAPTURE(words(good(), one.rule));
      CHECK((one.status == Status::pass || one.rule == "listening-pass"));
    }
    CHECK(good().findings.size() == 18);
    const auto alone = Arrangement().check(1);
    for (std::size_t i = 0; i < alone.findings.size(); ++i) {
      CAPTURE(alone.findings[i].rule);
      CHECK(words(alone, alone.findings[i].rule) == words(good(), alone.findings[i].rule));
    }
  }

  TEST_CASE("what a plan leaves open is not measured, and never guessed") {
    Arrangement song;
    song.feeling = "", song.approach = "  ", song.marked = false;
    song.wishes.clear();
    for (auto& one : song.stems) one.priority = 0;
    const auto sheet = song.check();
    for (const auto* id : {"biggest-section", "quiet-to-loud", "percussion-in-biggest", "vocal-placement", "backing-placement", "priority-masking", "backing-masked", "movement", "kick-over-bass", "low-end-order", "bass-steadiness"}) {
      CAPTURE(id);
      CHECK(status(sheet, id) == Status::not_measured);
      CHECK(words(sheet, id).find("not stated") != std::string::npos);
      CHECK_FALSE(finding(sheet, id).optional);
    }
    CHECK(words(sheet, "biggest-section") == "not measured: not stated");
    // Where the number is known it stands there.
    CHECK(words(sheet, "kick-over-bass").starts_with("not measured: measured "));
    for (const auto* id : {"vocal-placement", "backing-placement", "backing-masked", "movement", "low-end-order", "bass-steadiness"}) {
      CAPTURE(id);
      CHECK(sheet::headline(finding(sheet, id), catalog()).starts_with(finding(sheet, id).title + ": measured "));
      CHECK(sheet::headline(finding(sheet, id), catalog()).ends_with("; what is wanted is not stated in the plan"));
    }
    CHECK(words(sheet, "intent-stated") == "not measured: not stated: feeling, approach, the biggest section, the quietest section");
    CHECK(sheet.verdict == Verdict::fail);
    CHECK(sheet.song->sections.front().loudness.has_value());
    // A plan that does not want it says so.
    Arrangement other;
    other.wishes["severity"] = "movement = \"note\"";
    other.wishes["dynamics"] = "quiet_to_loud = 3";
    const auto without = other.check();
    CHECK(status(without, "movement") == Status::not_measured);
    CHECK(finding(without, "movement").optional);
  }

  TEST_CASE("the biggest section, and how far the quietest lies under it, follow the levels") {
    CHECK(section(good(), "last chorus").rank == 1);
    const double step = *section(good(), "last chorus").loudness - *section(good(), "verse").loudness;
    Arrangement louder;
    louder.gain_all(7.5, 12, 18);  // 0.5 dB over the last chorus but for the backing
    const auto sheet = louder.check();
    CHECK(status(sheet, "biggest-section") == Status::fail);
    CHECK(words(sheet, "biggest-section").find("\"verse 2\" is") != std::string::npos);
    CHECK(finding(sheet, "biggest-section").where.front().start_s == 12);
    CHECK(*section(sheet, "verse 2").loudness - *section(good(), "verse 2").loudness == doctest::Approx(7.5).epsilon(0.01));

    Arrangement margin;
    margin.wishes["dynamics"] = "quiet_to_loud = 3\nbiggest_margin = 3\nmovement = 1";
    const auto near = margin.check();
    CHECK(status(near, "biggest-section") == Status::fail);
    CHECK(words(near, "biggest-section").find("comes within") != std::string::npos);
    // So many dB more of the quiet section are so many LU less of the step.
    Arrangement flat;
    flat.gain_all(step - 2.5, 0, 6);
    const auto flatter = flat.check();
    CHECK(*section(flatter, "last chorus").loudness - *section(flatter, "verse").loudness == doctest::Approx(2.5).epsilon(0.02));
    CHECK(status(flatter, "quiet-to-loud") == Status::fail);
    CHECK(*finding(flatter, "quiet-to-loud").change_db == doctest::Approx(-0.5).epsilon(0.1));
  }

  TEST_CASE("drums that stay behind in the biggest section, or are not there") {
    Arrangement behind;
    for (const auto* name : {"kick", "snare"}) behind.gain(name, -4, 18, 24);
    const auto sheet = behind.check();
    CHECK(status(sheet, "percussion-in-biggest") == Status::warn);
    CHECK(*section(good(), "last chorus").drums_over_rest - *section(sheet, "last chorus").drums_over_rest == doctest::Approx(4).epsilon(0.02));
    const double short_of = as_printed(*sheet.song->drums_over_rest) - as_printed(*section(sheet, "last chorus").drums_over_rest);
    CHECK(finding(sheet, "percussion-in-biggest").remedy.starts_with("The drums: \"last chorus\" up by " + test::words_of_db(short_of) + ". "));
    Arrangement gone;
    for (const auto* name : {"kick", "snare"}) gone.gain(name, -200, 18, 24);
    CHECK(words(gone.check(), "percussion-in-biggest") == "there are none in \"last chorus\"");
    Arrangement none;
    none.drop("kick"), none.drop("snare");
    CHECK(words(none.check(), "percussion-in-biggest") == "there are no drums among the stems, which are all of the mix");
    // Both numbers and the limit are told, and the second is over all windows in which the drums play.
    CHECK_MESSAGE(words(sheet, "percussion-in-biggest").ends_with(" over the rest wherever the drums play; by more than 1.0 LU lower is outside"), words(sheet, "percussion-in-biggest"));
  }

  TEST_CASE("a vocal 6 dB up or down over a bed that stays moves by 6 LU, with all stems and with the vocal alone") {
    for (const double change : {6.0, -6.0}) {
      CAPTURE(change);
      Arrangement song;
      song.gain("voice", change);
      const auto sheet = song.check();
      // Alone: the bed is the mix less the vocal.
      auto alone = song;
      alone.mix = song.sum();
      alone.stems = {alone.stems[4]};
      const auto by_mix = alone.check();
      for (const auto* name : {"verse", "chorus", "verse 2", "last chorus"}) {
        CAPTURE(name);
        CHECK(*section(sheet, name).vocal_over_bed - *section(good(), name).vocal_over_bed == doctest::Approx(change).epsilon(0.002));
        CHECK(*section(by_mix, name).vocal_over_bed == doctest::Approx(*section(sheet, name).vocal_over_bed).epsilon(0.01));
      }
      CHECK(by_mix.song->vocal->bed == "mix less the vocal");
      CHECK(sheet.song->vocal->bed == "sum of the other stems");
    }
    const double there = *section(good(), "chorus").vocal_over_bed;
    Arrangement low;
    low.wishes["vocal"] = "above_band = [" + std::to_string(there - 1) + ", 40]\nsections = { \"last chorus\" = [" + std::to_string(there - 9) + ", 40], \"verse\" = [-40, 40], \"verse 2\" = [-40, 40] }";
    low.gain("voice", -4, 6, 12);
    low.gain("voice", -4, 18, 24);
    const auto sheet = low.check();
    CHECK(status(sheet, "vocal-placement") == Status::fail);
    CHECK(words(sheet, "vocal-placement").starts_with("chorus "));  // the last one may lie lower
    CHECK(std::abs(*finding(sheet, "vocal-placement").change_db - 3) < 0.5);  // windows reach across the borders
    REQUIRE_FALSE(finding(sheet, "vocal-placement").where.empty());
    CHECK(finding(sheet, "vocal-placement").where.front().start_s >= 6);
    // Without a pause between them, each section's part of a phrase is held against that section's range.
    for (const auto& where : finding(sheet, "vocal-placement").where) CHECK(where.end_s <= 12);
  }

  TEST_CASE("each section that is out of its range has a place, however short its phrases and however many others have") {
    Arrangement song;
    song.wishes["vocal"] = "above_band = [30, 40]\nsections = { \"verse\" = [-40, 40] }";
    const auto sheet = song.check();
    const auto& placement = finding(sheet, "vocal-placement");
    CHECK(placement.status == Status::fail);
    for (const auto* name : {"chorus", "verse 2", "last chorus"}) {
      CAPTURE(name);
      CHECK(std::ranges::any_of(placement.where, [&](const Where& one) { return one.start_s == section(sheet, name).start_s && one.end_s == section(sheet, name).end_s && one.note.starts_with(name); }));
    }
    CHECK(std::ranges::none_of(placement.where, [](const Where& one) { return one.start_s < 6; }));
    CHECK(placement.where_total > 3);  // phrases behind them
    // Sections may be shorter than a phrase that counts.
    Arrangement brief;
    brief.wishes["vocal"] = "above_band = [30, 40]\nsections = { \"last chorus\" = [-40, 40], \"verse\" = [-40, 40], \"verse 2\" = [-40, 40] }";
    for (double at_s = 6; at_s < 12; at_s += 0.6) brief.gain("voice", -200, at_s + 0.15, at_s + 0.6);
    const auto chopped = brief.check();
    CHECK(status(chopped, "vocal-placement") == Status::fail);
    REQUIRE_FALSE(finding(chopped, "vocal-placement").where.empty());
    CHECK(finding(chopped, "vocal-placement").where.front().note.starts_with("chorus: "));
  }

  TEST_CASE("a song without vocals, all stems of which are there, has no vocal that could be misplaced or noisy") {
    Arrangement song;
    song.drop("voice"), song.drop("backing");
    const auto sheet = song.check();
    for (const auto* id : {"vocal-placement", "vocal-condition", "backing-placement", "backing-masked"}) {
      CAPTURE(id);
      CHECK(status(sheet, id) == Status::note);
      CHECK(words(sheet, id).ends_with(" among the stems, which are all of the mix"));
    }
    // Stems that are not all of the mix prove nothing; what is to be written then is a key that plans have.
    Arrangement some;
    some.mix = some.sum();
    some.drop("voice"), some.drop("backing");
    const auto open = some.check();
    for (const std::string id : {"vocal-placement", "vocal-condition"}) {
      CAPTURE(id);
      CHECK(status(open, id) == Status::not_measured);
      CHECK_MESSAGE(finding(open, id).remedy.find(id + " = \"note\" under [severity]") != std::string::npos, finding(open, id).remedy);
      some.wishes["severity"] += id + " = \"note\"\n";
    }
    CHECK(finding(some.check(), "vocal-condition").optional);
  }

  TEST_CASE("what is not stated is asked for by name, and nothing beside it") {
    Arrangement song;
    song.approach = "";
    CHECK(finding(song.check(), "intent-stated").remedy == "Write approach into [song].");
    song.feeling = "", song.marked = false;
    CHECK(finding(song.check(), "intent-stated").remedy ==
          "Write feeling and approach into [song]. Write biggest = true into the [[section]] that is meant to be the biggest, and quietest = true into the [[section]] that is meant to be the quietest.");
  }

  TEST_CASE("the mix less a vocal that does not stand in it is no bed") {
    Arrangement song;
    song.mix = song.sum();
    song.gain("voice", 6);
    song.stems = {song.stems[4]};
    const auto sheet = song.check();
    CHECK(status(sheet, "vocal-placement") == Status::not_measured);
  }

  TEST_CASE("backing vocals that come level with the lead") {
    const double there = *section(good(), "chorus").lead_over_backing;
    Arrangement song;
    song.gain("backing", 5);
    song.wishes["backing"] = "under_lead = [" + std::to_string(there - 3.95) + ", 40]";
    const auto sheet = song.check();
    CHECK(status(sheet, "backing-placement") == Status::fail);
    CHECK(*section(sheet, "chorus").lead_over_backing == doctest::Approx(there - 5).epsilon(0.002));
    // The backing vocals are what moves, by so much in each section.
    const double short_of = as_printed(there - 3.95) - as_printed(*section(sheet, "chorus").lead_over_backing);
    CHECK(short_of == doctest::Approx(1.05).epsilon(0.1));
    CHECK(finding(sheet, "backing-placement").remedy.starts_with("Backing vocals: chorus down by " + test::words_of_db(short_of)));
    CHECK_FALSE(section(sheet, "verse").lead_over_backing.has_value());
    Arrangement none;
    none.drop("backing");
    const auto without = none.check();
    CHECK(status(without, "backing-placement") == Status::note);
    CHECK(status(without, "backing-masked") == Status::note);
    // Stems that are not all of the mix prove nothing about what is not among them.
    Arrangement some;
    some.mix = some.sum();
    some.drop("backing");
    CHECK(status(some.check(), "backing-placement") == Status::not_measured);
  }

  TEST_CASE("what moves is said by section, up here and down there, with one amount only where one holds") {
    Arrangement song;
    const double there = *section(good(), "chorus").vocal_over_bed;
    song.wishes["vocal"] = "above_band = [" + std::to_string(there - 1) + ", " + std::to_string(there + 1) + "]\nsections = { \"verse\" = [-40, 40], \"verse 2\" = [-40, 40] }";
    song.gain("voice", -4, 6, 12);
    song.gain("voice", 6, 18, 24);
    const auto sheet = song.check();
    const auto& found = finding(sheet, "vocal-placement");
    CAPTURE(found.remedy);
    const double low = as_printed(there - 1) - as_printed(*section(sheet, "chorus").vocal_over_bed), high = as_printed(*section(sheet, "last chorus").vocal_over_bed) - as_printed(there + 1);
    CHECK(found.remedy.starts_with("Lead vocal: chorus up by " + test::words_of_db(low) + ", last chorus down by " + test::words_of_db(high) + ". "));
    CHECK(low == doctest::Approx(3).epsilon(0.15));  // less what the windows that count as sung make of it
    CHECK_FALSE(found.change_db.has_value());
    // Done as told, it holds but for what windows that count as sung change: they follow the loudness of the whole vocal.
    song.gain("voice", std::ceil(low * 10 - 1e-6) / 10, 6, 12);
    song.gain("voice", -std::ceil(high * 10 - 1e-6) / 10, 18, 24);
    const auto done = song.check();
    CHECK(*section(done, "chorus").vocal_over_bed > there - 1 - 0.5);
    CHECK(*section(done, "last chorus").vocal_over_bed < there + 1 + 0.5);
    // One section too loud against the biggest: that section is what moves.
    Arrangement louder;
    louder.gain_all(7.5, 12, 18);
    const auto loud = louder.check();
    const double over = *section(loud, "verse 2").loudness - *section(loud, "last chorus").loudness;
    CHECK(finding(loud, "biggest-section").remedy.starts_with("The mix: \"verse 2\" down by " + test::words_of_db(over) + ". "));
    CHECK(*finding(loud, "biggest-section").change_db == doctest::Approx(-over));
  }

  TEST_CASE("a vocal that is clipped, hisses in its pauses or pops") {
    Arrangement clipped;
    double peak = 0;
    for (const auto& channel : clipped.clip("voice").channels) {
      for (const double v : channel) peak = std::max(peak, std::abs(v));
    }
    clipped.clip("voice").each([&](double v) { return std::clamp(v * 1.6 / peak, -1.0, 1.0 - 1.0 / 8388608); });
    const auto flat = clipped.check();
    CHECK(status(flat, "vocal-condition") == Status::warn);
    CHECK(words(flat, "vocal-condition").find("clipped in") != std::string::npos);
    CHECK(words(flat, "vocal-condition").find(" at full scale") != std::string::npos);
    // Cut off at 60 % of its peak, and turned down after that: nothing reaches full scale.
    Arrangement before_the_fader;
    before_the_fader.clip("voice").each([&](double v) { return 0.5 * std::clamp(v, -0.6 * peak, 0.6 * peak); });
    const auto soft = before_the_fader.check();
    CHECK(status(soft, "vocal-condition") == Status::warn);
    CHECK_MESSAGE(words(soft, "vocal-condition").ends_with(" below full scale, none at it"), words(soft, "vocal-condition"));
    REQUIRE_FALSE(finding(soft, "vocal-condition").where.empty());
    CHECK(finding(soft, "vocal-condition").where.front().note == "clipped");
    CHECK(finding(soft, "vocal-condition").where.front().start_s < 24);
    CHECK_MESSAGE(words(soft, "stems-aligned").ends_with(" below full scale, none at it, and the mix is not"), words(soft, "stems-aligned"));
    CHECK(status(good(), "stems-aligned") == Status::pass);
    Arrangement hissing;
    auto& voice = hissing.clip("voice");
    for (std::size_t c = 0; c < 2; ++c) {
      const auto hiss = test::noise(77 + c, 0.001, voice.channels[c].size());
      for (std::size_t n = 0; n < hiss.size(); ++n) voice.channels[c][n] += hiss[n];
    }
    const auto noisy = hissing.check();
    CHECK(words(noisy, "vocal-condition").find("noise between phrases") != std::string::npos);
    CHECK(status(noisy, "vocal-condition") == Status::warn);
  }

  TEST_CASE("a part that matters less covers one that matters more, until it moves away") {
    Arrangement song;
    song.wishes["masking"] = "most = 40";
    song.gain("voice", -18);
    auto& keys = song.clip("keys");
    keys = song.clip("backing");  // in the voice's own range, and far louder
    for (auto& one : song.stems) {
      if (one.name == "keys") one.clip = Arrangement().clip("voice");
    }
    song.gain("keys", 6);
    const auto sheet = song.check();
    CHECK(status(sheet, "priority-masking") == Status::warn);
    CHECK(words(sheet, "priority-masking").find("% of voice covered by keys") != std::string::npos);
    REQUIRE_FALSE(sheet.song->pairs.empty());
    CHECK(sheet.song->pairs.front().part == "voice");
    CHECK(sheet.song->pairs.front().masker == "keys");
    const auto covered = sheet.song->pairs.front().masked;
    // As much power, but above 8 kHz alone.
    for (auto& channel : song.clip("keys").channels) {
      double power = 0, bright = 0;
      for (const double v : channel) power += v * v;
      auto hiss = test::noise(5, 0.1, channel.size());
      for (int order = 0; order < 8; ++order) {
        for (std::size_t n = hiss.size() - 1; n > 0; --n) hiss[n] -= hiss[n - 1];
      }
      for (const double v : hiss) bright += v * v;
      for (std::size_t n = 0; n < channel.size(); ++n) channel[n] = hiss[n] * std::sqrt(power / bright);
    }
    const auto away = song.check();
    const auto pair = std::ranges::find_if(away.song->pairs, [](const auto& one) { return one.part == "voice" && one.masker == "keys"; });
    REQUIRE(pair != away.song->pairs.end());
    CHECK(pair->masked < 0.5 * covered);
    CHECK(status(good(), "priority-masking") == Status::pass);
    // Nobody covers what matters less.
    CHECK(std::ranges::none_of(sheet.song->pairs, [](const auto& one) { return one.part == "keys"; }));
  }

  TEST_CASE("backing vocals that nobody hears") {
    Arrangement song;
    song.gain("backing", -26);
    song.wishes["masking"] = "most = 60";
    const auto sheet = song.check();
    CHECK(status(sheet, "backing-masked") == Status::warn);
    CHECK(words(sheet, "backing-masked").find("most by") != std::string::npos);
    CHECK(words(sheet, "backing-masked").starts_with(std::to_string(std::lround(*sheet.song->backing_masked)) + " %"));
  }

  TEST_CASE("a part that stands still while the song moves") {
    Arrangement song;
    song.gain("keys", 6, 0, 6);
    song.gain("keys", 6, 12, 18);
    const auto sheet = song.check();
    CHECK(status(sheet, "movement") == Status::warn);
    CHECK(words(sheet, "movement").starts_with("keys "));
    CHECK(*stem(sheet, "keys").movement < 2);
    CHECK(*stem(good(), "keys").movement == doctest::Approx(7).epsilon(0.05));
  }

  TEST_CASE("played very quietly, a kick sinks and a voice comes out") {
    Arrangement song;
    song.wishes["quiet"] = "moved = 2\nlevel_db_spl = 30\nreference_db_spl = 85";
    const auto sheet = song.check();
    CHECK(status(sheet, "quiet-listening") == Status::warn);
    CHECK(*stem(sheet, "kick").moved < -2);
    CHECK(*stem(sheet, "voice").moved > *stem(sheet, "kick").moved);
    CHECK(words(sheet, "quiet-listening").find("an estimate") != std::string::npos);
    // How far a part moves on a small loudspeaker is told beside, and judged nowhere.
    CHECK(words(sheet, "quiet-listening").find("small loudspeaker ") != std::string::npos);
    Arrangement large;
    large.wishes["quiet"] = "moved = 60\nsmall_speaker = false";
    CHECK(words(large.check(), "quiet-listening").find("small") == std::string::npos);
  }

  TEST_CASE("a kick 3 dB softer stands 3 dB less over the bass") {
    const auto& low = *good().song->low_end;
    REQUIRE(low.kick_over_bass.has_value());
    Arrangement song;
    song.gain("kick", -3);
    song.wishes["low_end"] = "kick_over_bass = " + std::to_string(*low.kick_over_bass - 1) + "\nbass_steadiness = 40\nlowest = \"kick\"";
    const auto sheet = song.check();
    CHECK(*sheet.song->low_end->kick_over_bass == doctest::Approx(*low.kick_over_bass - 3).epsilon(0.002));
    CHECK(status(sheet, "kick-over-bass") == Status::fail);
    const double down = *low.kick_over_bass - 1 - *section(sheet, "chorus").kick_over_bass;
    CHECK(*section(sheet, "chorus").kick_over_bass == doctest::Approx(*section(good(), "chorus").kick_over_bass - 3).epsilon(0.002));
    CHECK(finding(sheet, "kick-over-bass").remedy.find("chorus down by " + test::words_of_db(down)) != std::string::npos);
    CHECK(low.hits.size() == 48);
  }

  TEST_CASE("a kick whose hits run into one another is not measured by the one that shows") {
    Arrangement song;
    for (auto& channel : song.clip("kick").channels) {
      for (std::size_t n = 0; n < channel.size(); ++n) channel[n] = 0.3 * std::sin(2 * std::numbers::pi * 60 * static_cast<double>(n) / 44100);
    }
    const auto sheet = song.check();
    CAPTURE(words(sheet, "kick-over-bass"));
    CHECK(status(sheet, "kick-over-bass") == Status::not_measured);
    CHECK(words(sheet, "kick-over-bass").find("s and shows 1 hit: ") != std::string::npos);
  }

  TEST_CASE("a kick that is soft in one section is named there, and so is what both do to each other at the hits") {
    const double usual = *section(good(), "chorus").kick_over_bass;
    CHECK(words(good(), "kick-over-bass").find("; at the hits they ") != std::string::npos);
    Arrangement song;
    song.gain("kick", -8, 18, 24);
    song.wishes["low_end"] = "kick_over_bass = " + std::to_string(usual - 3) + "\nbass_steadiness = 40\nlowest = \"kick\"";
    const auto sheet = song.check();
    CHECK(*section(sheet, "last chorus").kick_over_bass == doctest::Approx(*section(good(), "last chorus").kick_over_bass - 8).epsilon(0.01));
    CHECK(words(sheet, "kick-over-bass").find("; under what is wanted in last chorus (") != std::string::npos);
    CHECK(words(sheet, "kick-over-bass").find("verse") == std::string::npos);
    // Everywhere too soft: the bass is what moves, section by section.
    song.wishes["low_end"] = "kick_over_bass = " + std::to_string(usual + 2) + "\nbass_steadiness = 40\nlowest = \"kick\"";
    const auto soft = song.check();
    const auto& remedy = finding(soft, "kick-over-bass").remedy;
    CAPTURE(remedy);
    CHECK(remedy.starts_with("The bass below 100 Hz: "));
    const double down = usual + 2 - *section(soft, "last chorus").kick_over_bass;
    CHECK(remedy.find("last chorus down by " + test::words_of_db(down)) != std::string::npos);
    CHECK(*soft.song->low_end->wanted_kick_over_bass == doctest::Approx(usual + 2));
  }

  TEST_CASE("which of both reaches lower is as the plan says, or not") {
    Arrangement song;
    const bool kick_lower = status(good(), "low-end-order") == Status::pass;
    song.wishes["low_end"] = std::string("kick_over_bass = 0\nbass_steadiness = 40\nlowest = \"") + (kick_lower ? "bass\"" : "kick\"");
    CHECK(status(song.check(), "low-end-order") == Status::warn);
    CHECK(kick_lower);
  }

  TEST_CASE("one bass note that booms") {
    Arrangement song;
    song.gain("bass", 10, 7.2, 9);
    song.wishes["low_end"] = "kick_over_bass = -20\nbass_steadiness = 8\nlowest = \"kick\"";
    const auto sheet = song.check();
    CHECK(status(sheet, "bass-steadiness") == Status::warn);
    REQUIRE_FALSE(finding(sheet, "bass-steadiness").where.empty());
    CHECK(finding(sheet, "bass-steadiness").where.front().start_s > 6.8);
    CHECK(finding(sheet, "bass-steadiness").where.front().start_s < 9.2);
  }

  TEST_CASE("a bass whose channels are opposite is lost in mono, and named") {
    Arrangement song;
    song.gain("bass", 12);
    song.gain("kick", -12);
    for (auto& v : song.clip("bass").channels[1]) v = -v;
    const auto sheet = song.check();
    CHECK(status(sheet, "mono-low-end") == Status::warn);
    CHECK(words(sheet, "mono-low-end").find("bass loses most") != std::string::npos);
    // For 3 s only: over the song it loses little.
    Arrangement once;
    once.gain("bass", 12);
    once.gain("kick", -12);
    auto& right = once.clip("bass").channels[1];
    for (std::size_t n = right.size() / 2; n < right.size() * 5 / 8; ++n) right[n] = -right[n];
    const auto short_time = once.check();
    CHECK(words(short_time, "mono-low-end").find("bass loses most") != std::string::npos);
    CHECK(words(short_time, "mono-low-end").ends_with(" there"));
    CHECK(finding(short_time, "mono-low-end").where.front().start_s >= 11.9);
    CHECK(finding(short_time, "mono-low-end").where.front().start_s <= 14.1);
  }

  TEST_CASE("stems that are not the mix, and a stem that is late") {
    Arrangement fader;
    fader.mix = fader.sum();
    fader.gain("keys", -2);
    const auto off = fader.check();
    CHECK(status(off, "stems-sum-to-mix") == Status::fail);
    CHECK(words(off, "stems-sum-to-mix").find("faders: keys 2.00 dB too soft") != std::string::npos);
    CHECK(status(off, "stems-aligned") == Status::pass);
    CHECK_MESSAGE(words(good(), "stems-sum-to-mix").find(" dB against the mix") != std::string::npos, words(good(), "stems-sum-to-mix"));
    Arrangement late;
    late.mix = late.sum();
    for (auto& channel : late.clip("snare").channels) channel.insert(channel.begin(), 441, 0.0), channel.resize(channel.size() - 441);
    const auto delayed = late.check();
    CHECK(status(delayed, "stems-aligned") == Status::fail);
    CHECK_MESSAGE(words(delayed, "stems-aligned").find("snare: 441 frames late") == 0, words(delayed, "stems-aligned") << " | " << words(delayed, "stems-sum-to-mix"));
    Arrangement low;  // of long low notes, with hardly an edge
    low.mix = low.sum();
    for (auto& channel : low.clip("bass").channels) channel.insert(channel.begin(), 441, 0.0), channel.resize(channel.size() - 441);
    const auto sheet = low.check();
    CHECK(words(sheet, "stems-aligned") == "bass: 441 frames late");
    // What nothing explains is not told of a stem.
    Arrangement other;
    other.mix = other.sum();
    auto& left = other.mix->channels[0];
    std::ranges::reverse(left);
    const auto unsure = other.check();
    CAPTURE(words(unsure, "stems-sum-to-mix"));
    CHECK(status(unsure, "stems-sum-to-mix") == Status::fail);
    CHECK(status(unsure, "stems-aligned") == Status::not_measured);
    Arrangement shorter;
    shorter.mix = shorter.sum();
    for (auto& channel : shorter.clip("snare").channels) channel.resize(channel.size() - 100);
    CHECK(words(shorter.check(), "stems-aligned").find("snare: 100 frames shorter than the mix") == 0);
  }

  TEST_CASE("without stems the mix is measured, and what is not measured is said") {
    Arrangement song;
    song.mix = song.sum();
    song.stems.clear();
    const auto sheet = song.check();
    CHECK(status(sheet, "biggest-section") == Status::pass);
    CHECK(status(sheet, "quiet-to-loud") == Status::pass);
    CHECK(status(sheet, "mono-low-end") == Status::pass);
    for (const auto* id : {"vocal-placement", "vocal-condition", "priority-masking", "kick-over-bass", "movement", "quiet-listening", "stems-sum-to-mix", "stems-aligned"}) {
      CAPTURE(id);
      CHECK(status(sheet, id) == Status::not_measured);
    }
    CHECK(sheet.song->low_end->punch.has_value());
    CHECK(words(sheet, "mono-low-end").find("; in the mix below 100 Hz, attacks stand ") != std::string::npos);
    song.wishes["dynamics"] = "";
    CHECK(words(song.check(), "movement") == "not measured: the plan has no stems");
  }
}
