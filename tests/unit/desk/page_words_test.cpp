// What a finding says to do names places of the page there, and neither commands nor keys of a file.
#include <doctest/doctest.h>

#include <string>

#include "desk/page_words.h"
#include "song/findings.h"
#include "unit/song/arrangement.h"

using namespace sendworthy;
using desk::on_the_page;

namespace {

void check_words(const std::string& remedy) {
  const auto words = on_the_page(remedy);
  CAPTURE(remedy);
  CAPTURE(words);
  CHECK(words.find("[[") == std::string::npos);
  CHECK(words.find("sendworthy") == std::string::npos);
  CHECK(words.find(" = true") == std::string::npos);
  CHECK(words.find("below_hz") == std::string::npos);
  CHECK(words.find("add it to the plan") == std::string::npos);
  // What only the file can say says so.
  CHECK((words.find('[') == std::string::npos || words.find("with a text editor") != std::string::npos));
}

}  // namespace

TEST_CASE("no remedy of the song's own findings names a command or a key on the page") {
  for (const auto& rule : song::plan_rules()) check_words(std::string(rule.remedy));
  for (const bool marked : {true, false}) {
    for (const std::size_t stems : {std::size_t{5}, std::size_t{1}, std::size_t{0}}) {
      test::Arrangement song;
      song.feeling = "", song.approach = "", song.marked = marked;
      song.wishes.clear();
      for (auto& one : song.stems) one.priority = 0;
      song.mix = song.sum();
      song.stems.resize(stems);
      auto sheet = song.check();
      for (const auto& finding : sheet.findings) check_words(finding.remedy);
      CHECK(desk::put_on_the_page(sheet));
      CHECK_FALSE(desk::put_on_the_page(sheet));
    }
  }
}

TEST_CASE("the page says where to press") {
  CHECK(on_the_page("Say in the plan what is meant: [low_end] kick_over_bass, in dB.") == "Say it under Plan, among what is wanted as numbers.");
  CHECK(on_the_page("Say in the plan what is meant: biggest = true in one [[section]].") == "Choose the biggest section under Plan, Sections.");
  CHECK(on_the_page("Print the lead vocal as a stem and add it to the plan; where the song has none, write vocal-placement = \"note\" under [severity].") ==
        "Choose the role of its stem under Plan, Stems; where the plan has no such stem, print the lead vocal as a stem and start a plan with it; where the song has none, write into the plan's file, with a text editor, vocal-placement = \"note\" under [severity].");
  CHECK(on_the_page("Pull the fader down.") == "Pull the fader down.");
}
