import anywidget


class Address(anywidget.AnyWidget):
    _esm = "export default { render() {} }"

    def on_open(self, call):
        pass

    def say(self, **values):
        pass
