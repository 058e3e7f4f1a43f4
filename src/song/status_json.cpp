#include "song/status_json.h"

#include "sheet/json_text.h"

namespace sendworthy::song {
namespace {

void put_last(sheet::JsonText& json, const ListeningAnswer& last) {
  json.key("last");
  json.begin_object();
  json.integer("pass", last.pass);
  json.text("date", last.date);
  json.text("by", last.by);
  json.text("mix", last.mix);
  json.text("audio", last.audio);
  json.text("answer", to_string(last.answer));
  json.text("note", last.note);
  if (last.played_s) json.seconds("played_s", *last.played_s);
  json.end_object();
}

}  // namespace

std::string status_json(const ListeningState& state) {
  sheet::JsonText json(sheet::JsonText::Style::indented);
  json.begin_object();
  json.integer("schema", 1);
  json.text("plan", state.plan);
  json.text("passes", state.passes);
  json.text("mix", state.mix);
  json.text("audio", state.audio);
  json.boolean("complete", state.complete);
  json.integer("pass", state.pass);
  json.text("date", state.date);
  json.text("by", state.by);
  json.text_unless_empty("remark", state.remark);
  json.key("questions");
  json.begin_array();
  for (const auto& one : state.questions) {
    json.begin_object();
    json.text("id", one.id);
    json.text("text", one.text);
    json.boolean("holds", !one.open.has_value());
    if (one.open) json.text("open", to_string(*one.open));
    if (one.last) put_last(json, *one.last);
    json.end_object();
  }
  json.end_array();
  json.end_object();
  return json.take() + "\n";
}

}  // namespace sendworthy::song
