#include <doctest/doctest.h>

#include "base/text.h"
#include "unit/sheet/helpers.h"

using namespace sendworthy;
using namespace sendworthy::fixture;

TEST_SUITE("sheet/hostile") {
  TEST_CASE("no format lets through broken UTF-8, escape sequences or bidirectional controls") {
    for (const auto& [name, text] : all_formats(hostile())) {
      const auto& name_here = name;
      CAPTURE(name_here);
      if (name == "markers.mid") continue;  // binary
      CHECK(base::clean_utf8(text) == text);
      if (name != "colour") CHECK_FALSE(holds(text, "\x1b"));
      CHECK_FALSE(holds(text, "\xe2\x80\xae"));
      CHECK_FALSE(holds(text, "\xc2\x9b"));
      CHECK_FALSE(holds(text, "\x07"));
      CHECK_FALSE(holds(text, std::string_view("\0", 1)));
      CHECK_FALSE(holds(text, "\t"));
    }
  }

  TEST_CASE("a sheet of defaults and a sheet without files render in every format") {
    Sheet bare;
    bare.files.resize(2);
    bare.files.front().findings.resize(1);
    bare.files.front().measurements.resize(2);
    bare.files.front().timelines.resize(2);
    bare.files.front().skipped.resize(1);
    bare.files.front().cautions.resize(1);
    bare.files.back().error = Error{};
    bare.findings.resize(1);
    for (const auto& sheet : {bare, Sheet{}}) {
      for (const auto& [name, text] : all_formats(sheet)) {
        const auto& name_here = name;
        CAPTURE(name_here);
        CHECK((name == "jsonl" || !text.empty()));
      }
    }
  }

  TEST_CASE("absurd numbers stay short") {
    auto sheet = measured_mix();
    for (auto& one : sheet.files.front().measurements) {
      one.outcome = Value(-1.7e308);
      one.channels.assign(1000, 4.9e-324);
    }
    sheet.files.front().facts.duration_s = 1e308;
    sheet.files.front().facts.channels = 1000;
    for (const auto& [name, text] : all_formats(sheet)) {
      const auto& name_here = name;
      CAPTURE(name_here);
      CHECK(text.size() < 400000);
    }
  }
}
