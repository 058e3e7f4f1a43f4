// A sheet put together from the input's bytes, in every format. What comes out must be valid UTF-8, no wider than the
// page, and readable again where it is JSONL.
#include <sendworthy/render.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <string>
#include <string_view>

#include "base/text.h"

namespace {

using namespace sendworthy;

/// Deals out the input piece by piece; zeros and empty texts when it is used up.
class Bytes {
 public:
  Bytes(const std::uint8_t* data, std::size_t size) : data_(data), size_(size) {}
  [[nodiscard]] bool empty() const { return size_ == 0; }
  std::uint8_t byte() { return size_ == 0 ? std::uint8_t{0} : (--size_, *data_++); }
  std::string text() {
    const std::size_t length = std::min<std::size_t>(byte() % 48u, size_);
    const std::string made(reinterpret_cast<const char*>(data_), length);
    data_ += length;
    size_ -= length;
    return made;
  }
  double real() {
    std::uint64_t bits = 0;
    for (int i = 0; i < 8; ++i) bits = bits << 8u | byte();
    double value = 0;
    std::memcpy(&value, &bits, sizeof value);
    return value;
  }

 private:
  const std::uint8_t* data_;
  std::size_t size_;
};

Outcome outcome(Bytes& bytes) {
  switch (bytes.byte() % 5) {
    case 0:
      return NotMeasured{bytes.text()};
    case 1:
      return NotApplicable{bytes.text()};
    case 2:
      return Value(bytes.real());
    case 3:
      return Value(bytes.byte() % 2 == 0);
    default:
      return Value(bytes.text());
  }
}

Where place(Bytes& bytes) {
  Where where;
  where.start_s = bytes.real();
  where.end_s = bytes.real();
  where.start_frame = bytes.byte();
  where.end_frame = bytes.byte();
  where.channel = bytes.byte() % 9;
  where.note = bytes.text();
  return where;
}

Finding finding(Bytes& bytes) {
  constexpr std::string_view kIds[] = {"level", "count", "", "unknown"};
  Finding made;
  made.ruleset = bytes.text();
  made.rule = bytes.text();
  made.measure = made.key = kIds[bytes.byte() % 4u];
  made.status = static_cast<Status>(bytes.byte() % 6);
  made.before_waiver = made.status;
  made.outcome = outcome(bytes);
  made.unit = static_cast<Unit>(bytes.byte() % 17);
  if (bytes.byte() % 2 == 0) made.limit = Value(bytes.real());
  made.limit_text = bytes.text();
  if (bytes.byte() % 2 == 0) made.change_db = bytes.real();
  if (bytes.byte() % 2 == 0) made.true_peak_after_db = bytes.real();
  made.within_tolerance = bytes.byte() % 2 == 0;
  made.optional = bytes.byte() % 2 == 0;
  for (int i = bytes.byte() % 6; i > 0; --i) made.where.push_back(place(bytes));
  made.why = bytes.text();
  made.remedy = bytes.text();
  if (made.status == Status::waived) made.waiver = AppliedWaiver{bytes.text(), bytes.text(), bytes.text()};
  return made;
}

FileSheet file(Bytes& bytes) {
  FileSheet made;
  made.path = bytes.text();
  made.facts.container = bytes.text();
  made.facts.channels = bytes.byte();
  made.facts.duration_s = bytes.real();
  made.facts.sample_rate = bytes.byte() * 1000;
  if (bytes.byte() % 8 == 0) made.error = Error{ErrorCode::unreadable, bytes.text(), {}};
  for (int i = bytes.byte() % 4; i > 0; --i) made.findings.push_back(finding(bytes));
  for (int i = bytes.byte() % 4; i > 0; --i) {
    Measurement one;
    one.id = one.key = bytes.text();
    one.outcome = outcome(bytes);
    one.note = bytes.text();
    if (bytes.byte() % 2 == 0) one.channels = {bytes.real(), std::nullopt};
    made.measurements.push_back(one);
  }
  if (bytes.byte() % 2 == 0) made.skipped.push_back({bytes.text(), bytes.text(), bytes.text()});
  if (bytes.byte() % 2 == 0) made.cautions.push_back({bytes.text(), bytes.text()});
  made.verdict = made.error ? Verdict::fail : verdict_of(made.findings);
  return made;
}

const Catalog& two_entries() {
  static const CatalogEntry level{
      .id = "level", .title = "Level", .group = Group::level, .unit = Unit::dbtp, .decimals = 1};
  static const CatalogEntry count{
      .id = "count", .title = "Count", .group = Group::edges, .unit = Unit::count, .decimals = 0};
  static const Catalog made{{&level, &count}};
  return made;
}

void require(bool condition) {
  if (!condition) std::abort();
}

void require_clean(const std::string& text, bool ink = false) {
  require(base::clean_utf8(text) == text);
  require(ink || text.find('\x1b') == std::string::npos);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Bytes bytes(data, size);
  Sheet sheet;
  sheet.judged = bytes.byte() % 4 != 0;
  const int width = 20 + bytes.byte() % 100;
  for (int i = bytes.byte() % 4; i > 0; --i) sheet.files.push_back(file(bytes));
  if (sheet.judged && bytes.byte() % 2 == 0) sheet.findings.push_back(finding(bytes));
  if (!sheet.judged) {
    for (auto& one : sheet.files) one.findings.clear();
  }
  const auto& catalog = two_entries();
  auto text = render_text(sheet, catalog, {Colour::off, width, false});
  require_clean(text);
  for (std::string_view rest = text; !rest.empty();) {
    const auto end = rest.find('\n');
    require(end != std::string_view::npos && base::columns(rest.substr(0, end)) <= width);
    rest.remove_prefix(end + 1);
  }
  require_clean(render_text(sheet, catalog, {Colour::on, width, false}), true);
  require_clean(render_text(sheet, catalog, {Colour::off, width, true}));
  require_clean(render_json(sheet, catalog));
  require_clean(render_junit(sheet, catalog, WarnInJUnit::fails));
  require_clean(render_csv(sheet, catalog));
  require_clean(render_markers_csv(sheet, catalog));
  require_clean(render_html(sheet, catalog), true);
  require_clean(render_note(sheet, catalog));
  require(render_markers_midi(sheet, catalog).size() >= 22);
  (void)merge_jsonl({{"own", render_jsonl(sheet, catalog)}}, catalog);
  return 0;
}
